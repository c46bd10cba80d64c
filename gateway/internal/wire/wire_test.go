package wire_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/pikepole/pikepole/gateway/internal/wire"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
)

func TestDecodeIntoAPointerToAPointer(t *testing.T) {
	t.Parallel()
	var job *framesv1.Job
	if err := wire.NewJSON().NewDecoder(strings.NewReader(`{"title":"A"}`)).Decode(&job); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(&framesv1.Job{Title: "A"}, job, protocmp.Transform()); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if err := wire.NewJSON().NewDecoder(strings.NewReader("")).Decode(&job); !errors.Is(err, io.EOF) {
		t.Errorf("an empty body gives %v, want io.EOF", err)
	}
	var number int
	if err := wire.NewJSON().Unmarshal([]byte("1"), &number); err == nil {
		t.Error("what is no message was read")
	}
}

func TestAMistakeSurvivesBeingText(t *testing.T) {
	t.Parallel()
	want := &wire.Mistake{Field: "job.title", Message: "must be a text, not the number 3"}
	got, ok := wire.ParseMistake("rpc error: code = InvalidArgument desc = " + want.Error())
	if !ok {
		t.Fatal("it is not found again")
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if _, ok := wire.ParseMistake("some other text"); ok {
		t.Error("another text is taken for a mistake")
	}
}

// Whatever is read comes back the same, and whatever is not read is a mistake that can be told.
func FuzzUnmarshal(f *testing.F) {
	for _, seed := range []string{
		`{"job":{"title":"A","site":{"deckOutline":[{"xMm":1e3}]}},"requestId":"r"}`,
		`{"job":{"createTime":"2030-05-14T08:30:00Z","stage":"JOB_STAGE_DONE"}}`,
		`{"job":{"site":{"latitudeDeg":"NaN"}}}`, `{"job":[null]}`, `{"job":{"titel":1}}`, `{"job":`, `[]`, `{} {}`, "\x02json\x1f\x03",
	} {
		f.Add([]byte(seed))
	}
	json := wire.NewJSON()
	f.Fuzz(func(t *testing.T, data []byte) {
		request := &framesv1.CreateJobRequest{}
		if err := json.Unmarshal(data, request); err != nil {
			var mistake *wire.Mistake
			if !errors.As(err, &mistake) || mistake.Message == "" {
				t.Fatalf("%q: %v is no mistake that can be told", data, err)
			}
			return
		}
		text, err := json.Marshal(request)
		if err != nil {
			t.Fatal(err)
		}
		again := &framesv1.CreateJobRequest{}
		if err := json.Unmarshal(text, again); err != nil {
			t.Fatalf("%s, which was written, cannot be read: %v", text, err)
		}
		if diff := cmp.Diff(request, again, protocmp.Transform(), cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("(-want +got)\n%s", diff)
		}
	})
}
