package frames

import (
	"fmt"
	"time"
	// Time zones are checked wherever the service runs.
	_ "time/tzdata"

	"google.golang.org/protobuf/proto"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
)

// Bounds of a site.
const (
	mostPlaces   = 200
	mostHeightMM = 100_000
	mostBoomMM   = 300_000
	mostVolts    = 2_000_000
	// mostSiteBytes bounds a site as a whole, so that the largest page of jobs still fits into a message:
	// nobody can make a job that keeps the others from being listed. It holds over 4,000 points.
	mostSiteBytes = 128 << 10
)

// job checks what a caller says of a job.
func (c *checker) job(path string, j *framesv1.Job) {
	c.words(path+".title", j.Title, 1, 200)
	c.words(path+".customer", j.Customer, 0, 200)
	c.words(path+".crane", j.Crane, 0, 100)
	if _, ok := framesv1.JobStage_name[int32(j.Stage)]; !ok {
		c.wrong(path+".stage", "is %d, which is no stage; use JOB_STAGE_ESTIMATING, _CUTTING, _RAISING or _DONE", j.Stage)
	}
	if j.Site != nil {
		c.site(path+".site", j.Site)
	}
}

// site checks the place where a frame is raised.
func (c *checker) site(path string, s *framesv1.Site) {
	c.words(path+".address", s.Address, 0, 300)
	c.within(path+".latitude_deg", s.LatitudeDeg, -90, 90, "degrees")
	c.within(path+".longitude_deg", s.LongitudeDeg, -180, 180, "degrees")
	c.within(path+".deck_height_mm", s.DeckHeightMm, -mostHeightMM, mostHeightMM, "mm")
	if !zone(s.TimeZone) {
		c.wrong(path+".time_zone", "%s is not known; use an IANA name such as America/New_York, or leave it empty for UTC", quote(s.TimeZone))
	}
	if len(s.DeckOutline) > 0 {
		c.outline(path+".deck_outline", s.DeckOutline)
	}
	c.setUps(path+".crane_set_ups", s.CraneSetUps)
	c.zones(path, s)
	c.lines(path+".overhead_lines", s.OverheadLines)
	if n := proto.Size(s); n > mostSiteBytes {
		c.wrong(path, "takes %d KiB; draw it with fewer corners and points, so that it takes at most %d", (n+1023)>>10, mostSiteBytes>>10)
	}
}

// zone says whether a time zone is one of the IANA data base.
func zone(name string) bool {
	if name == "Local" || len(name) > 64 {
		return false
	}
	_, err := time.LoadLocation(name)
	return err == nil
}

func (c *checker) setUps(path string, ups []*framesv1.CraneSetUp) {
	if !c.count(path, len(ups), mostPlaces) {
		return
	}
	seen := map[string]bool{}
	for i, u := range ups {
		at := fmt.Sprintf("%s[%d]", path, i)
		c.id(at+".id", u.GetId(), seen)
		c.point(at+".center", u.GetCenter())
		if u.GetBoomLengthMm() <= 0 {
			c.wrong(at+".boom_length_mm", "is %g; give the boom length that is planned, more than 0 mm", u.GetBoomLengthMm())
			continue
		}
		c.within(at+".boom_length_mm", u.GetBoomLengthMm(), 0, mostBoomMM, "mm")
	}
}

// zones checks staging and no-go zones.
func (c *checker) zones(path string, s *framesv1.Site) {
	if at := path + ".staging_zones"; c.count(at, len(s.StagingZones), mostPlaces) {
		seen := map[string]bool{}
		for i, z := range s.StagingZones {
			at := fmt.Sprintf("%s[%d]", at, i)
			c.id(at+".id", z.GetId(), seen)
			c.point(at+".center", z.GetCenter())
			if _, ok := framesv1.StagingUse_name[int32(z.GetUse())]; !ok {
				c.wrong(at+".use", "is %d, which is no use; say STAGING_USE_STACK or STAGING_USE_LOOSE", z.GetUse())
			}
		}
	}
	if at := path + ".no_go_zones"; c.count(at, len(s.NoGoZones), mostPlaces) {
		seen := map[string]bool{}
		for i, z := range s.NoGoZones {
			at := fmt.Sprintf("%s[%d]", at, i)
			c.id(at+".id", z.GetId(), seen)
			c.words(at+".reason", z.GetReason(), 0, 200)
			c.outline(at+".outline", z.GetOutline())
		}
	}
}

func (c *checker) lines(path string, lines []*framesv1.OverheadLine) {
	if !c.count(path, len(lines), mostPlaces) {
		return
	}
	seen := map[string]bool{}
	for i, l := range lines {
		at := fmt.Sprintf("%s[%d]", path, i)
		c.id(at+".id", l.GetId(), seen)
		c.within(at+".voltage_v", l.GetVoltageV(), 0, mostVolts, "V")
		if len(l.GetPath()) < 2 {
			c.wrong(at+".path", "has %d points; a line needs at least two", len(l.GetPath()))
			continue
		}
		if !c.count(at+".path", len(l.GetPath()), mostCorners) {
			continue
		}
		for k, p := range l.GetPath() {
			c.point(fmt.Sprintf("%s.path[%d]", at, k), p)
		}
	}
}
