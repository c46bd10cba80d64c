package fault

import (
	"context"
	"errors"
	"maps"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"
)

// Code is the status code of a kind.
func (k Kind) Code() codes.Code {
	switch k {
	case InvalidArgument:
		return codes.InvalidArgument
	case NotFound:
		return codes.NotFound
	case AlreadyExists:
		return codes.AlreadyExists
	case Conflict:
		return codes.Aborted
	case Reused, Precondition:
		return codes.FailedPrecondition
	case PermissionDenied:
		return codes.PermissionDenied
	case Unauthenticated:
		return codes.Unauthenticated
	case Exhausted:
		return codes.ResourceExhausted
	case Unavailable:
		return codes.Unavailable
	case Deadline:
		return codes.DeadlineExceeded
	case Cancelled:
		return codes.Canceled
	case Unimplemented:
		return codes.Unimplemented
	default:
		return codes.Internal
	}
}

// kindOf is the way back; the reason tells apart the two kinds that share a code.
func kindOf(code codes.Code, reason string) Kind {
	if reason == ReasonReused {
		return Reused
	}
	switch code {
	case codes.InvalidArgument, codes.OutOfRange:
		return InvalidArgument
	case codes.NotFound:
		return NotFound
	case codes.AlreadyExists:
		return AlreadyExists
	case codes.Aborted:
		return Conflict
	case codes.FailedPrecondition:
		return Precondition
	case codes.PermissionDenied:
		return PermissionDenied
	case codes.Unauthenticated:
		return Unauthenticated
	case codes.ResourceExhausted:
		return Exhausted
	case codes.Unavailable:
		return Unavailable
	case codes.DeadlineExceeded:
		return Deadline
	case codes.Canceled:
		return Cancelled
	case codes.Unimplemented:
		return Unimplemented
	default:
		return Internal
	}
}

// Status is the fault as it goes out: code, message, ErrorInfo, and where they are set
// BadRequest and RetryInfo. The cause stays behind.
func (e *Error) Status() *status.Status {
	st := status.New(e.Kind.Code(), e.Message)
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: e.Reason, Domain: Domain, Metadata: e.Metadata}}
	if len(e.Fields) > 0 {
		bad := &errdetails.BadRequest{}
		for _, f := range e.Fields {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Path, Description: f.Message})
		}
		details = append(details, bad)
	}
	if e.RetryAfter > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(e.RetryAfter)})
	}
	full, err := st.WithDetails(details...)
	if err != nil {
		return st
	}
	return full
}

// GRPCStatus lets the status package see a fault as a status.
func (e *Error) GRPCStatus() *status.Status { return e.Status() }

// FromStatus reads a fault back from the error of a call; nil for nil. Trouble without our
// own ErrorInfo (a broken connection, a foreign server) becomes a fault whose message is safe.
func FromStatus(err error) *Error {
	if err == nil {
		return nil
	}
	if f, ok := Of(err); ok {
		return f
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return New(Deadline, ReasonDeadline, "The time given for the call ran out.").Wrap(err)
	case errors.Is(err, context.Canceled):
		return New(Cancelled, ReasonCancelled, "The call was cancelled.").Wrap(err)
	}
	// Not status.FromError: that puts the words of wrapping errors in front of the message.
	var holder interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &holder) || holder.GRPCStatus() == nil {
		return foreign(codes.Unknown, "").Wrap(err)
	}
	st := holder.GRPCStatus()
	f := &Error{Message: st.Message(), Cause: err}
	ours := false
	for _, detail := range st.Details() {
		ours = f.take(detail) || ours
	}
	if !ours {
		return foreign(st.Code(), st.Message()).Wrap(err)
	}
	f.Kind = kindOf(st.Code(), f.Reason)
	return f
}

// take reads one status detail and says whether it is our ErrorInfo.
func (e *Error) take(detail any) bool {
	switch d := detail.(type) {
	case *errdetails.ErrorInfo:
		if d.GetDomain() != Domain {
			return false
		}
		e.Reason, e.Metadata = d.GetReason(), maps.Clone(d.GetMetadata())
		return true
	case *errdetails.BadRequest:
		for _, v := range d.GetFieldViolations() {
			e.Fields = append(e.Fields, Field{Path: v.GetField(), Message: v.GetDescription()})
		}
	case *errdetails.RetryInfo:
		e.RetryAfter = d.GetRetryDelay().AsDuration()
	}
	return false
}

// foreign is the fault for a status that none of our servers made. Codes that speak of the
// request keep their message; those that speak of machines do not.
func foreign(code codes.Code, message string) *Error {
	switch code {
	case codes.Unavailable:
		return New(Unavailable, ReasonUpstream, "A service that is needed does not answer; try again in a moment.")
	case codes.DeadlineExceeded:
		return New(Deadline, ReasonDeadline, "The time given for the call ran out.")
	case codes.Canceled:
		return New(Cancelled, ReasonCancelled, "The call was cancelled.")
	case codes.ResourceExhausted:
		// gRPC itself answers so when a message is larger than the limit.
		return New(Exhausted, ReasonTooLarge, "%s", message)
	case codes.Unimplemented:
		return New(Unimplemented, ReasonMethod, "There is no such method.")
	case codes.InvalidArgument, codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.Aborted,
		codes.OutOfRange, codes.PermissionDenied, codes.Unauthenticated:
		return New(kindOf(code, ""), reasonOf(code), "%s", message)
	default:
		return New(Internal, ReasonInternal, "Something went wrong on our side.")
	}
}

// reasonOf names, for want of a reason, the code itself.
func reasonOf(code codes.Code) string {
	switch code {
	case codes.NotFound:
		return "NOT_FOUND"
	case codes.AlreadyExists:
		return "ALREADY_EXISTS"
	case codes.FailedPrecondition:
		return "FAILED_PRECONDITION"
	case codes.Aborted:
		return "ABORTED"
	case codes.PermissionDenied:
		return "PERMISSION_DENIED"
	case codes.Unauthenticated:
		return "UNAUTHENTICATED"
	default:
		return ReasonInvalid
	}
}
