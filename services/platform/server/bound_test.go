package server

import (
	"strings"
	"testing"

	"google.golang.org/grpc/encoding"
	grpcproto "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// timbers is a request with so many empty timbers, each with an empty point in it.
func timbers(n int) *framesv1.CheckFrameRequest {
	f := &framev1.Frame{}
	one := &framev1.Timber{Start: &framev1.Point{}}
	for range n {
		f.Timbers = append(f.Timbers, one)
	}
	return &framesv1.CheckFrameRequest{Frame: f}
}

func TestPartsAreBounded(t *testing.T) {
	t.Parallel()
	codec := boundedCodec{encoding.GetCodecV2(grpcproto.Name), 101}
	for n, want := range map[int]bool{0: true, 1: true, 50: true, 51: false, 5000: false} {
		sent := timbers(n)
		wire, err := proto.Marshal(sent)
		if err != nil {
			t.Fatal(err)
		}
		// In pieces, as it comes from the network.
		var pieces mem.BufferSlice
		for rest := wire; len(rest) > 0; {
			cut := min(len(rest), 100)
			pieces, rest = append(pieces, mem.SliceBuffer(rest[:cut])), rest[cut:]
		}
		got := &framesv1.CheckFrameRequest{}
		err = codec.Unmarshal(pieces, got)
		if (err == nil) != want {
			t.Errorf("%d timbers: %v, want them taken: %t", n, err, want)
		}
		if want && !proto.Equal(sent, got) {
			t.Errorf("%d timbers came out as %d", n, len(got.GetFrame().GetTimbers()))
		}
		if !want && len(got.GetFrame().GetTimbers()) > 0 {
			t.Errorf("%d timbers: %d of them were read", n, len(got.GetFrame().GetTimbers()))
		}
		pieces.Free()
	}
	for name, wire := range map[string][]byte{"cut short": {0x0a, 0x7f, 0x12}, "no tag": {0xff}, "group": {0x0b, 0x0c}} {
		if n := parts(wire, timbers(0).ProtoReflect().Descriptor(), 10); n != 0 {
			t.Errorf("%s: %d parts", name, n)
		}
	}
}

// TestPartsBeforeCredentials sends what would be gigabytes in memory without any credentials.
func TestPartsBeforeCredentials(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	entries := make([]*sitelogv1.Entry, mostParts+1)
	one := &sitelogv1.Entry{}
	for i := range entries {
		entries[i] = one
	}
	_, err := k.client.PostEntries(t.Context(), &sitelogv1.PostEntriesRequest{Entries: entries})
	if err == nil || !strings.Contains(status.Convert(err).Message(), "more than 1000000 parts") {
		t.Errorf("a request of too many parts: %v", err)
	}
}

// TestLogLinesAreShort makes calls whose text could fill a disk with one line each, without any
// credentials.
func TestLogLinesAreShort(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	long := strings.Repeat("x", 1<<20)
	if _, err := k.client.GetProgress(t.Context(), &sitelogv1.GetProgressRequest{Job: long}); err == nil {
		t.Error("a call without credentials is let in")
	}
	if err := k.conn.Invoke(t.Context(), "/none/"+long, &sitelogv1.GetProgressRequest{}, &sitelogv1.Progress{}); err == nil {
		t.Error("a method that is not served answers")
	}
	lines := k.logs.FilterMessage("call").All()
	if len(lines) != 2 {
		t.Fatalf("%d lines, want 2", len(lines))
	}
	for _, line := range lines {
		for _, field := range line.Context {
			if len(field.String) > 200 {
				t.Errorf("the field %s has %d bytes", field.Key, len(field.String))
			}
		}
	}
}
