package model_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// Whatever stands, its model weighs what the frame says that it weighs.
func TestModelWeighsWhatTheFrameWeighs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := genKing(t)
		s := complete(f)
		st, err := model.Build(f, s, model.Defaults())
		if err != nil {
			t.Fatal(err)
		}
		mass, _ := f.Weigh(s.Standing)
		if got, want := weighN(st.Model), mass*statics.StandardGravity; math.Abs(got-want) > 1e-9*want {
			t.Fatalf("the model weighs %v N, the frame %v N", got, want)
		}
	})
}
