package rigging

import (
	"fmt"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/rigging/picking"
	"github.com/pikepole/pikepole/services/rigging/sling"
)

// basis explains the numbers of a pick: formula, source, and what was set.
func basis(s picking.Settings, site picking.Site) []*sheetv1.Basis {
	const (
		published = sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED
		computed  = sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED
		practice  = sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
	)
	return append([]*sheetv1.Basis{
		{
			Quantity: "mass and center of gravity", Formula: "m = Σ mᵢ, x = Σ mᵢ·xᵢ / Σ mᵢ over wood, pegs and hardware",
			Source: "statics; density as in the takeoff, which varies by about 10 percent within a species", Status: computed,
		},
		{
			Quantity: "allowance", Formula: "allowance = share · mass", Source: "setting for what was not weighed: wet wood, wrapping, tag lines",
			Status: practice, Inputs: []string{fmt.Sprintf("share = %.0f %%", 100*s.AllowanceShare)},
		},
		{
			Quantity: "hook load", Formula: "hook load = mass + allowance + slings and shackles + hook block and other deductions",
			Source: "notes of US Army crane manual TM 5-3810-305-10: all handling devices are part of the load", Status: published,
		},
		{
			Quantity: "pick points of a loose stick",
			Formula:  "0.2071 of the overall length from each end, moved to be symmetric about the center of gravity and clear of joints where that can be",
			Source:   "least bending of a uniform stick at two points: (√2 − 1)/2", Status: computed,
			Inputs: []string{fmt.Sprintf("clear of joints by %.0f mm", s.JointClearanceMM)},
		},
		{
			Quantity: "pick points of an assembly",
			Formula:  "a pair above the center of gravity and level about it: on level sticks, or on rafters and posts just below a joint that keeps the sling from sliding up",
			Source:   "a load can roll about the line through two points unless its center of gravity hangs below (statics); the rest is a setting", Status: practice,
			Inputs: []string{fmt.Sprintf("center of gravity at least %.0f mm below the line", s.LeastDepthMM)},
		},
		{
			Quantity: "how it hangs", Formula: "x = (L1² − L2² + s²)/2s, H = √(L1² − x²), tilt = atan((x − x_g)/(H + d))",
			Source: "statics of a rigid body on two legs", Status: computed,
			Inputs: []string{fmt.Sprintf("out of level at most %.0f°, out of its plane at most %.0f° (settings)", s.MostTiltDeg, s.MostLeanDeg)},
		},
		{
			Quantity: "leg", Formula: "leg = sling − once round the stick, 2·(b + d)", Source: "a choker drawn snug; the shackle's own length is left out", Status: practice,
		},
		{
			Quantity: "sling tension", Formula: "V1 = W·(b/h2)/(a/h1 + b/h2), V2 = W − V1, T = V·L/h, hook plumb over the center of gravity",
			Source: "equilibrium, confirmed by the rule of sines; W is mass, allowance and all rigging under the hook", Status: computed,
			Inputs: []string{fmt.Sprintf("g = %.5f m/s²", sling.StandardGravity)},
		},
		{
			Quantity: "sling rating", Formula: "tension ≤ choker rating on the sling's tag",
			Source: "full choker rating holds above 120° angle of choke, drawn snug (sling sheets quoting ASME B30.9); a tag without a choker rating refuses the hitch", Status: published,
		},
		{
			Quantity: "sling angle", Formula: fmt.Sprintf("angle from level ≥ %.0f°, preferred ≥ %.0f°", max(s.LeastAngleDeg, picking.PublishedLeastAngleDeg), s.PreferredAngleDeg),
			Source: fmt.Sprintf("setting; sheets of sling makers forbid less than %d° (published)", picking.PublishedLeastAngleDeg), Status: practice,
		},
		{
			Quantity: "hook's way",
			Formula:  "largest radius = max(pick radius + reach, set radius), nearest = pick radius − reach; for a bent reach = max(center of gravity over feet, pick line over center of gravity), for a stick 0",
			Source:   "the hook goes round at the larger radius and comes in or out over the nearer end; while a flat bent is stood up on its feet the hook may be that much farther out or nearer, whichever way the stack lies",
			Status:   computed, Inputs: wayInputs(site),
		},
		{
			Quantity: "rated capacity", Formula: "next longer listed radius, smaller of the two boom lengths around the planned one; none outside the chart",
			Source: "safe under each of the published notes that differ: US Army TM 5-3810-305-10 (smaller of the two), TM 5-3810-306-10 (next longer boom), a provincial crane safety authority (next larger radius or boom)", Status: published,
		},
		{
			Quantity: "share of rated", Formula: "hook load / rated capacity, both gross", Source: "the safer of two definitions in print; load over net rating differs", Status: computed,
		},
		{
			Quantity: "headroom", Formula: "q = acos((R + t)/Lb), tip = Lb·sin q + h ≥ hook + clearance + two-block margin",
			Source: "geometry of a straight boom, without its bending under load; what stands on the hook's way is not in it", Status: computed,
			Inputs: []string{fmt.Sprintf("clearance = %.0f mm (setting)", s.LiftClearanceMM)},
		},
	}, assemblyBasis(s)...)
}

// choiceCautions name what was taken of a site that has several: the first of each in its list.
func choiceCautions(site *framesv1.Site) []string {
	var out []string
	if ups := site.GetCraneSetUps(); len(ups) > 1 {
		out = append(out, fmt.Sprintf("The site has %d crane set-ups; every pick is planned from the first, %s. From another the radii differ: put that one first and ask again.", len(ups), ups[0].GetId()))
	}
	var stack, loose []string
	for _, z := range site.GetStagingZones() {
		if z.GetUse() == framesv1.StagingUse_STAGING_USE_STACK {
			stack = append(stack, z.GetId())
		} else {
			loose = append(loose, z.GetId())
		}
	}
	for _, zones := range []struct {
		ids  []string
		what string
	}{{stack, "bents"}, {loose, "loose pieces"}} {
		if len(zones.ids) > 1 {
			out = append(out, fmt.Sprintf("The site has %d staging zones for %s; every pick is planned from the first, %s. From another the pick radius differs: put that one first and ask again.", len(zones.ids), zones.what, zones.ids[0]))
		}
	}
	return out
}

// assemblyBasis explains what is asked of an assembly besides.
func assemblyBasis(s picking.Settings) []*sheetv1.Basis {
	const computed = sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED
	return []*sheetv1.Basis{
		{
			Quantity: "clear of the load", Formula: "hook ≥ top of the load + clearance; distance of a leg from each stick it does not hold ≥ half the stick's smaller side",
			Source: "plane geometry: legs less steep than the rafters meet inside a truss, and a leg cannot go through a stick", Status: computed,
			Inputs: []string{fmt.Sprintf("clearance = %.0f mm (setting)", s.HookClearanceMM)},
		},
		{
			Quantity: "one piece", Formula: "joints of the assembly lead from what the slings hold to every stick, none opening downward without pegs, wedges or bolts",
			Source: "statics: what is not held up stays behind or drops; whether the pegs bear it is not checked", Status: computed,
		},
	}
}

func wayInputs(site picking.Site) []string {
	var out []string
	if site.SetUp != nil {
		out = append(out, fmt.Sprintf("set-up %s, boom %.0f mm", site.SetUp.ID, site.SetUp.BoomLengthMM))
	}
	if site.Stack != nil {
		out = append(out, "bents from "+site.Stack.ID)
	}
	if site.Loose != nil {
		out = append(out, "loose pieces from "+site.Loose.ID)
	}
	return out
}

// criticalShare is the share of rated capacity above which a US Army Corps of Engineers form (16-3, to
// EM 385-1-1) asks for a critical lift plan.
const criticalShare = 0.75

// cautions are what a reader must be told with any answer, and with this one.
func cautions(picks []*riggingv1.Pick, crane *riggingv1.Crane, site *framesv1.Site) []string {
	out := []string{
		"This is an aid to planning, not a lift plan. The crane's own chart in the cab governs; so do the tag of each sling and shackle, local rules, and the qualified rigger and lift director on site.",
		"Weights come from drawings and average wood. Weigh the first pick and stop when it differs from the figure by more than about 5 percent (common practice).",
		"Not checked here: whether timbers and joints bear the pull of the slings, wind, the ground and mats under the outriggers, the bending of the boom, what stands in the way of load and boom, and whether the load can be unhooked.",
		"A choker keeps its full rating only when drawn snug at its natural angle. Pad edges, and mortises that are still empty under a sling. Nobody stands under the load.",
		"Loose pieces are planned to be lifted level, plumb ones too. Turning one upright on the hook is another pick, which is not planned here.",
	}
	if crane.GetChartIsInvented() {
		out = append(out, fmt.Sprintf("The chart of crane %s is INVENTED for demonstration: nothing may be lifted by it.", crane.GetId()))
	}
	if m := crane.GetMachine(); m == riggingv1.LiftingMachine_LIFTING_MACHINE_TELEHANDLER || m == riggingv1.LiftingMachine_LIFTING_MACHINE_GIN_POLE {
		out = append(out, fmt.Sprintf("%s does not turn about a center as a crane does. Radii and heights here count from the set-up by the geometry of a crane's boom: check by its own chart from where that counts, such as the front wheels.", crane.GetId()))
	}
	if note := crane.GetChartNote(); note != "" {
		out = append(out, "About the chart: "+note)
	}
	high := 0
	for _, p := range picks {
		if p.GetShareOfRated() > criticalShare {
			high++
		}
	}
	if high > 0 {
		out = append(out, fmt.Sprintf("%d of the picks use more than 75 percent of the rated capacity: above that the form of the US Army Corps of Engineers asks for a critical lift plan.", high))
	}
	out = append(out, choiceCautions(site)...)
	for _, line := range site.GetOverheadLines() {
		out = append(out, fmt.Sprintf("Overhead line %s (%.0f V): distances of boom, line and load to it are not checked here. Keep the clearance that the law asks for; 29 CFR 1926.1408 asks for 10 ft up to 50 kV and more above.", line.GetId(), line.GetVoltageV()))
	}
	for _, zone := range site.GetNoGoZones() {
		out = append(out, fmt.Sprintf("No-go zone %s (%s): whether crane or load comes over it is not checked here.", zone.GetId(), zone.GetReason()))
	}
	return out
}
