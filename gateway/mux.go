package gateway

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/document"
	accessgw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/access/v1"
	framesgw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/frames/v1"
	rigginggw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/rigging/v1"
	sequencinggw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/sequencing/v1"
	sitelogw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/sitelog/v1"
	takeoffgw "github.com/pikepole/pikepole/gateway/internal/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/gateway/internal/live"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// newMux makes the mux of the REST face: the generated handlers, and after them, so that they win,
// our own for documents, for the live log and for searches.
func (g *Gateway) newMux(watcher *live.Watcher) (*runtime.ServeMux, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, wire.NewJSON()),
		runtime.WithUnescapingMode(runtime.UnescapingModeAllExceptReserved),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithIncomingHeaderMatcher(noHeader),
		runtime.WithOutgoingHeaderMatcher(noHeader),
		runtime.WithOutgoingTrailerMatcher(noHeader),
		runtime.WithErrorHandler(refuse),
		runtime.WithRoutingErrorHandler(refuseRoute),
		runtime.WithForwardResponseOption(dress),
	)
	ctx := context.Background()
	for _, register := range []func() error{
		func() error { return accessgw.RegisterAccessServiceHandlerClient(ctx, mux, g.services.access) },
		func() error { return framesgw.RegisterFramesServiceHandlerClient(ctx, mux, g.services.frames) },
		func() error { return takeoffgw.RegisterTakeoffServiceHandlerClient(ctx, mux, g.services.takeoff) },
		func() error { return rigginggw.RegisterRiggingServiceHandlerClient(ctx, mux, g.services.rigging) },
		func() error {
			return sequencinggw.RegisterSequencingServiceHandlerClient(ctx, mux, g.services.sequencing)
		},
		func() error { return sitelogw.RegisterSitelogServiceHandlerClient(ctx, mux, g.services.sitelog) },
	} {
		if err := register(); err != nil {
			return nil, fmt.Errorf("register the generated handlers: %w", err)
		}
	}
	const frame = "/v1/jobs/{job}/frames/{revision}"
	own := map[string]runtime.HandlerFunc{
		"/v1/jobs/{job}/entries:watch": watcher.ServeHTTP,
	}
	for name, source := range g.documents() {
		own[frame+"/"+name] = document.Handler(source)
	}
	for path, handler := range own {
		if err := mux.HandlePath(http.MethodGet, path, handler); err != nil {
			return nil, fmt.Errorf("register %s: %w", path, err)
		}
	}
	if err := mux.HandlePath(http.MethodPost, frame+":makeSafe", watcher.Searcher(g.services.sequencing).ServeHTTP); err != nil {
		return nil, fmt.Errorf("register the search for braces: %w", err)
	}
	return mux, nil
}

// noHeader keeps every header on its side: what services need is in the facts of the request.
func noHeader(string) (string, bool) { return "", false }

// refuse answers with the problem document of an error.
func refuse(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	if own := ownProblem(err); own != nil {
		call.RefuseWith(w, r, own)
		return
	}
	call.Refuse(w, r, err)
}

// ownProblem gives the document of an error that the generated handlers made themselves, before
// any service was asked; nil for any other.
func ownProblem(err error) *problem.Document {
	st, ok := status.FromError(err)
	if !ok || st.Code() != codes.InvalidArgument || len(st.Details()) > 0 {
		return nil
	}
	if d := call.Unreadable(err); d != nil {
		return d
	}
	named := regexp.MustCompile(`(?:parsing field|parameter:|parsing list) "?([A-Za-z_.]+)"?`).FindStringSubmatch(st.Message())
	if named == nil {
		return problem.New(http.StatusBadRequest, fault.ReasonInvalid, "The request cannot be read: "+st.Message()+".")
	}
	field, message := problem.JSONPath(named[1]), "cannot be read; /openapi.json says what it is"
	return problem.New(http.StatusBadRequest, fault.ReasonInvalid, field+" "+message+".").WithField(field, message)
}

// refuseRoute answers for a path that the description has and the mux does not take, such as one
// with a broken escape.
func refuseRoute(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	call.RefuseWith(w, r, problem.New(code, problem.ReasonNoRoute, "There is nothing at this address; /openapi.json lists what there is."))
}

// dress sets the status and the headers that say more about an answer: where a new thing is, that
// nothing is left, and the etag.
func dress(ctx context.Context, w http.ResponseWriter, message proto.Message) error {
	header := w.Header()
	header.Set("Cache-Control", "no-store")
	if tagged, ok := message.(interface{ GetEtag() string }); ok && tagged.GetEtag() != "" {
		header.Set("ETag", `"`+tagged.GetEtag()+`"`)
	}
	method, _ := runtime.RPCMethod(ctx)
	if place := created(method, message); place != "" {
		header.Set("Location", place)
		w.WriteHeader(http.StatusCreated)
	}
	if _, empty := message.(*emptypb.Empty); empty {
		header.Del("Content-Type")
		w.WriteHeader(http.StatusNoContent)
	}
	return nil
}

// created gives the place of what a method made; empty for a method that makes nothing.
func created(method string, message proto.Message) string {
	switch method {
	case framesv1.FramesService_CreateJob_FullMethodName:
		return "/v1/jobs/" + url.PathEscape(message.(*framesv1.Job).GetId())
	case framesv1.FramesService_IssueFrame_FullMethodName:
		issued := message.(*framesv1.FrameRevision)
		return "/v1/jobs/" + url.PathEscape(issued.GetJob()) + "/frames/" + strconv.Itoa(int(issued.GetRevision()))
	case accessv1.AccessService_CreatePerson_FullMethodName:
		return "/v1/people/" + url.PathEscape(message.(*accessv1.Person).GetId())
	case accessv1.AccessService_CreateKey_FullMethodName:
		return "/v1/keys/" + url.PathEscape(message.(*accessv1.Key).GetId())
	}
	return ""
}

// megabytes writes a limit for people.
func megabytes(bytes int64) string {
	if bytes < 1<<20 {
		return strconv.FormatInt(bytes, 10) + " bytes"
	}
	return strconv.FormatInt(bytes>>20, 10) + " MiB"
}
