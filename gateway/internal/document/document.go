// Package document answers with documents: drawings, tables and sheets, in the form that the
// client asks for by the query parameter "format" or by Accept.
package document

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/gateway/internal/accept"
	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// Policy is the content security policy of a document: it shows itself and does nothing.
const Policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"

// Request says which document is wanted.
type Request struct {
	Job, Revision string
	// Move is the number of a move; 0 where the path names none.
	Move int32
	// Format is json, csv, html or svg.
	Format string
	// View is the view of a drawing.
	View string
}

// Source makes the documents of one route.
type Source struct {
	// Formats are offered in this order; the first is the answer to a client that likes all alike.
	Formats []string
	// Message gives the answer that is written as JSON; nil where JSON is not offered.
	Message func(ctx context.Context, r Request) (proto.Message, error)
	// Render gives every other form.
	Render func(ctx context.Context, r Request) (*sheetv1.Document, error)
}

// Handler answers from the source.
func Handler(source Source) runtime.HandlerFunc {
	json := wire.NewJSON()
	return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
		format, refusal := choose(r, source.Formats)
		if refusal != nil {
			call.RefuseWith(w, r, refusal)
			return
		}
		request := Request{
			Job:      params["job"],
			Revision: params["revision"],
			Format:   format,
			View:     r.URL.Query().Get("view"),
		}
		if request.Move, refusal = move(params); refusal != nil {
			call.RefuseWith(w, r, refusal)
			return
		}
		w.Header().Set("Vary", "Accept")
		if format == "json" {
			answerJSON(w, r, json, source, request)
			return
		}
		doc, err := source.Render(r.Context(), request)
		if err != nil {
			call.Refuse(w, r, err)
			return
		}
		Write(w, r, doc)
	}
}

func answerJSON(w http.ResponseWriter, r *http.Request, json *wire.JSON, source Source, request Request) {
	message, err := source.Message(r.Context(), request)
	if err != nil {
		call.Refuse(w, r, err)
		return
	}
	call.Answer(w, r, json, message)
}

// Write answers with a document, or with 304 to a client that has the same one.
func Write(w http.ResponseWriter, r *http.Request, doc *sheetv1.Document) {
	sum := sha256.Sum256(doc.GetContent())
	etag := `"` + hex.EncodeToString(sum[:16]) + `"`
	header := w.Header()
	header.Set("Content-Type", doc.GetMediaType())
	header.Set("Content-Security-Policy", Policy)
	header.Set("ETag", etag)
	if header.Get("Cache-Control") == "" {
		header.Set("Cache-Control", "private, no-cache")
	}
	if name := mime.FormatMediaType(disposition(doc.GetMediaType()), map[string]string{"filename": filename(doc.GetFilename())}); name != "" {
		header.Set("Content-Disposition", name)
	}
	if matches(r.Header.Get("If-None-Match"), etag) {
		header.Del("Content-Type")
		w.WriteHeader(http.StatusNotModified)
		return
	}
	// A client who has gone cannot be told.
	_, _ = w.Write(doc.GetContent())
}

// choose settles the format: by the parameter, else by Accept.
func choose(r *http.Request, formats []string) (string, *problem.Document) {
	if format := r.URL.Query().Get("format"); format != "" {
		if slices.Contains(formats, format) {
			return format, nil
		}
		message := "cannot be had; the formats are " + strings.Join(formats, ", ")
		return "", problem.New(http.StatusNotAcceptable, problem.ReasonNotAcceptable, "format "+message+".").WithField("format", message)
	}
	offers := make([]string, len(formats))
	for i, format := range formats {
		offers[i] = MediaType(format)
	}
	offer, ok := accept.Choose(r.Header.Get("Accept"), offers)
	if !ok {
		return "", problem.New(http.StatusNotAcceptable, problem.ReasonNotAcceptable, "This can be had as "+strings.Join(offers, ", ")+"; ask for one of them in Accept, or by format.")
	}
	return formats[slices.Index(offers, offer)], nil
}

// move gives the number of the move that the path names.
func move(params map[string]string) (int32, *problem.Document) {
	text, named := params["move"]
	if !named {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 {
		message := "must be the number of a move, from 1"
		return 0, problem.New(http.StatusBadRequest, fault.ReasonInvalid, "move "+message+".").WithField("move", message)
	}
	return int32(n), nil
}

// MediaType gives the media type of a format.
func MediaType(format string) string {
	switch format {
	case "csv":
		return "text/csv"
	case "html":
		return "text/html"
	case "svg":
		return "image/svg+xml"
	default:
		return wire.MediaType
	}
}

// disposition shows what a browser can show and saves the rest.
func disposition(mediaType string) string {
	if strings.HasPrefix(mediaType, "text/csv") {
		return "attachment"
	}
	return "inline"
}

// filename keeps what every system takes in a file name.
func filename(name string) string {
	clean := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, name)
	if clean = strings.TrimLeft(clean, ".-"); clean == "" {
		return "document"
	}
	return clean
}

// matches says whether an If-None-Match header names the etag.
func matches(header, etag string) bool {
	for part := range strings.SplitSeq(header, ",") {
		part = strings.TrimPrefix(strings.TrimSpace(part), "W/")
		if part == etag || part == "*" {
			return true
		}
	}
	return false
}
