package fault_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/pikepole/pikepole/services/platform/fault"
)

func TestStatusRoundTrip(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		in   *fault.Error
		code codes.Code
	}{
		{"internal", fault.New(fault.Internal, fault.ReasonInternal, "Ours."), codes.Internal},
		{"invalid", fault.Invalid("frame.timbers[3].width_mm", "must be above 0, not %d", -1).With(fault.Field{Path: "b", Message: "c"}), codes.InvalidArgument},
		{"several", fault.InvalidFields([]fault.Field{{Path: "a", Message: "x"}, {Path: "b", Message: "y"}}), codes.InvalidArgument},
		{"not found", fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no job %s.", "j1"), codes.NotFound},
		{"exists", fault.New(fault.AlreadyExists, "TAKEN", "Taken."), codes.AlreadyExists},
		{"conflict", fault.New(fault.Conflict, "ETAG", "Changed."), codes.Aborted},
		{"reused", fault.New(fault.Reused, fault.ReasonReused, "Reused."), codes.FailedPrecondition},
		{"precondition", fault.New(fault.Precondition, "NO_FRAME", "No frame."), codes.FailedPrecondition},
		{"denied", fault.New(fault.PermissionDenied, fault.ReasonRole, "No.").WithMetadata("roles", "lead").WithMetadata("a", "b"), codes.PermissionDenied},
		{"unauthenticated", fault.New(fault.Unauthenticated, fault.ReasonToken, "No."), codes.Unauthenticated},
		{"exhausted", fault.New(fault.Exhausted, fault.ReasonRate, "Wait.").After(1500 * time.Millisecond), codes.ResourceExhausted},
		{"unavailable", fault.New(fault.Unavailable, fault.ReasonStore, "Later."), codes.Unavailable},
		{"deadline", fault.New(fault.Deadline, fault.ReasonDeadline, "Late."), codes.DeadlineExceeded},
		{"cancelled", fault.New(fault.Cancelled, fault.ReasonCancelled, "Gone."), codes.Canceled},
		{"unimplemented", fault.New(fault.Unimplemented, fault.ReasonMethod, "None."), codes.Unimplemented},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			st := c.in.Wrap(errors.New("secret cause")).Status()
			if st.Code() != c.code {
				t.Errorf("code is %v, want %v", st.Code(), c.code)
			}
			back := fault.FromStatus(fmt.Errorf("call frames: %w", st.Err()))
			if diff := cmp.Diff(c.in, back, cmpopts.IgnoreFields(fault.Error{}, "Cause")); diff != "" {
				t.Errorf("fault changed on its way (-want +got):\n%s", diff)
			}
		})
	}
}

func TestFromStatusOfOthers(t *testing.T) {
	t.Parallel()
	foreign, err := status.New(codes.NotFound, "no such thing").WithDetails(&errdetails.ErrorInfo{Reason: "X", Domain: "elsewhere"})
	if err != nil {
		t.Fatal(err)
	}
	cases := []struct {
		name   string
		in     error
		kind   fault.Kind
		reason string
		text   string
	}{
		{"plain", errors.New("dial 10.0.0.1"), fault.Internal, fault.ReasonInternal, "Something went wrong on our side."},
		{"deadline", fmt.Errorf("x: %w", context.DeadlineExceeded), fault.Deadline, fault.ReasonDeadline, "The time given for the call ran out."},
		{"cancelled", context.Canceled, fault.Cancelled, fault.ReasonCancelled, "The call was cancelled."},
		{"deadline status", status.Error(codes.DeadlineExceeded, "x"), fault.Deadline, fault.ReasonDeadline, "The time given for the call ran out."},
		{"cancelled status", status.Error(codes.Canceled, "x"), fault.Cancelled, fault.ReasonCancelled, "The call was cancelled."},
		{"broken connection", status.Error(codes.Unavailable, "dial 10.0.0.1"), fault.Unavailable, fault.ReasonUpstream, "A service that is needed does not answer; try again in a moment."},
		{"too large", status.Error(codes.ResourceExhausted, "larger than max"), fault.Exhausted, fault.ReasonTooLarge, "larger than max"},
		{"no method", status.Error(codes.Unimplemented, "x"), fault.Unimplemented, fault.ReasonMethod, "There is no such method."},
		{"foreign domain", foreign.Err(), fault.NotFound, "NOT_FOUND", "no such thing"},
		{"range", status.Error(codes.OutOfRange, "too far"), fault.InvalidArgument, fault.ReasonInvalid, "too far"},
		{"data loss", status.Error(codes.DataLoss, "secret"), fault.Internal, fault.ReasonInternal, "Something went wrong on our side."},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f := fault.FromStatus(c.in)
			if f.Kind != c.kind || f.Reason != c.reason || f.Message != c.text {
				t.Errorf("got %v %s %q", f.Kind, f.Reason, f.Message)
			}
			if !errors.Is(f, c.in) {
				t.Error("the cause is lost")
			}
		})
	}
	if fault.FromStatus(nil) != nil {
		t.Error("no error became a fault")
	}
	own := fault.New(fault.NotFound, "X", "x")
	if fault.FromStatus(fmt.Errorf("y: %w", own)) != own {
		t.Error("a fault in the chain was not found")
	}
}

func TestCopiesLeaveTheOriginalAlone(t *testing.T) {
	t.Parallel()
	original := fault.Invalid("a", "is wrong").WithMetadata("k", "v")
	_ = original.With(fault.Field{Path: "b"}).WithMetadata("k", "w").Wrap(errors.New("x")).After(time.Second)
	want := &fault.Error{
		Kind: fault.InvalidArgument, Reason: fault.ReasonInvalid, Message: "a: is wrong",
		Fields: []fault.Field{{Path: "a", Message: "is wrong"}}, Metadata: map[string]string{"k": "v"},
	}
	if diff := cmp.Diff(want, original); diff != "" {
		t.Error(diff)
	}
}

func TestMessages(t *testing.T) {
	t.Parallel()
	f := fault.InvalidFields([]fault.Field{{Path: "a", Message: "x"}, {Path: "b", Message: "y"}})
	if f.Error() != "INVALID_ARGUMENT: a: x (and 1 more)" {
		t.Error(f.Error())
	}
	if got := f.Wrap(errors.New("why")).Error(); got != "INVALID_ARGUMENT: a: x (and 1 more): why" {
		t.Error(got)
	}
	wrapped := fmt.Errorf("put crane: %w", f)
	if !fault.Is(wrapped, fault.InvalidArgument) || fault.Is(wrapped, fault.NotFound) || !fault.HasReason(wrapped, fault.ReasonInvalid) ||
		fault.Is(errors.New("x"), fault.Internal) || fault.HasReason(nil, "") {
		t.Error("Is or HasReason is wrong")
	}
	if status.Code(wrapped) != codes.InvalidArgument {
		t.Error("the status package does not see the fault")
	}
}
