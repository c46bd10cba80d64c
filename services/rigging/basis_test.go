package rigging

import (
	"strings"
	"testing"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
)

// Radii hold for one place of the crane and one of the pieces, so a reader must be told which of several
// was taken, and when the machine has no center that it turns about.
func TestCautionsNameWhatWasTaken(t *testing.T) {
	t.Parallel()
	zone := func(id string, use framesv1.StagingUse) *framesv1.StagingZone {
		return &framesv1.StagingZone{Id: id, Use: use}
	}
	several := &framesv1.Site{
		CraneSetUps: []*framesv1.CraneSetUp{{Id: "drive"}, {Id: "lawn"}},
		StagingZones: []*framesv1.StagingZone{
			zone("deck", framesv1.StagingUse_STAGING_USE_STACK), zone("barn", framesv1.StagingUse_STAGING_USE_STACK),
			zone("grass", framesv1.StagingUse_STAGING_USE_LOOSE), zone("path", framesv1.StagingUse_STAGING_USE_UNSPECIFIED),
		},
	}
	one := &framesv1.Site{CraneSetUps: several.CraneSetUps[:1], StagingZones: several.StagingZones[1:3]}
	crane := &riggingv1.Crane{Id: "lifter"}
	telehandler := &riggingv1.Crane{Id: "lifter", Machine: riggingv1.LiftingMachine_LIFTING_MACHINE_TELEHANDLER}
	for _, tt := range []struct {
		crane *riggingv1.Crane
		site  *framesv1.Site
		words string
		want  bool
	}{
		{crane, several, "planned from the first, drive", true},
		{crane, several, "planned from the first, deck", true},
		{crane, several, "planned from the first, grass", true},
		{crane, one, "planned from the first", false},
		{telehandler, one, "does not turn about a center", true},
		{crane, one, "does not turn about a center", false},
	} {
		got := strings.Join(cautions(nil, tt.crane, tt.site), "\n")
		if strings.Contains(got, tt.words) != tt.want {
			t.Errorf("cautions hold %q: %v, want %v\n%s", tt.words, !tt.want, tt.want, got)
		}
	}
}
