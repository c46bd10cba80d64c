package rough

import (
	"fmt"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// size is the section of all timbers of one role.
type size struct {
	nominalWidthIn, nominalDepthIn float64
	WidthMM, DepthMM               float64 // finished
}

// roles are the names of the roles that a king-post frame has.
func roles() map[string]frame.Role {
	return map[string]frame.Role{
		"ROLE_POST": frame.RolePost, "ROLE_TIE_BEAM": frame.RoleTieBeam, "ROLE_KING_POST": frame.RoleKingPost,
		"ROLE_PRINCIPAL_RAFTER": frame.RolePrincipalRafter, "ROLE_STRUT": frame.RoleStrut,
		"ROLE_KNEE_BRACE": frame.RoleKneeBrace, "ROLE_GIRT": frame.RoleGirt, "ROLE_PLATE": frame.RolePlate,
		"ROLE_PURLIN": frame.RolePurlin, "ROLE_RIDGE_BEAM": frame.RoleRidgeBeam,
	}
}

// defaults are nominal sections, width by depth in inches, by span. Common practice for a first
// estimate, no design: whoever designs the frame gives the sections.
func defaults(spanMM float64) map[frame.Role][2]float64 {
	post, tie, rafter, king := 8.0, 10.0, 10.0, 10.0
	switch {
	case spanMM > 11_000:
		post, tie, rafter, king = 10, 14, 12, 12
	case spanMM > 7500:
		tie = 12
	}
	return map[frame.Role][2]float64{
		frame.RolePost: {post, post}, frame.RoleTieBeam: {post, tie}, frame.RoleKingPost: {post, king},
		frame.RolePrincipalRafter: {post, rafter}, frame.RoleStrut: {6, 8}, frame.RoleKneeBrace: {4, 8},
		frame.RoleGirt: {6, 8}, frame.RolePlate: {8, 8}, frame.RolePurlin: {6, 6}, frame.RoleRidgeBeam: {6, 8},
	}
}

// sizes gives every role its section: as named, else the default.
func (c *check) sizes(k King) map[frame.Role]size {
	sizes := make(map[frame.Role]size)
	for role, in := range defaults(k.SpanMM) {
		sizes[role] = newSize(in[0], in[1], k.Planed)
	}
	named := make(map[frame.Role]bool)
	for i, s := range k.Sections {
		at := fmt.Sprintf("sections[%d]", i)
		role, ok := roles()[s.Role]
		if !ok {
			c.fault(at+".role", "A king-post frame has no timbers of this role; use one of ROLE_POST, ROLE_TIE_BEAM, ROLE_KING_POST, ROLE_PRINCIPAL_RAFTER, ROLE_STRUT, ROLE_KNEE_BRACE, ROLE_GIRT, ROLE_PLATE, ROLE_PURLIN, ROLE_RIDGE_BEAM.")
			continue
		}
		if named[role] {
			c.fault(at+".role", "The section of each %s is given twice; leave one out.", role)
		}
		named[role] = true
		c.between(at+".nominal_width_in", s.NominalWidthIn, minNominalIn, maxNominalIn, "in")
		c.between(at+".nominal_depth_in", s.NominalDepthIn, minNominalIn, maxNominalIn, "in")
		sizes[role] = newSize(s.NominalWidthIn, s.NominalDepthIn, k.Planed)
	}
	c.proportions(k, sizes)
	return sizes
}

func newSize(widthIn, depthIn float64, planed bool) size {
	off := 0.0
	if planed {
		off = 0.5
	}
	return size{widthIn, depthIn, (widthIn - off) * wood.InchMM, (depthIn - off) * wood.InchMM}
}

// proportions checks that what enters is no larger than what receives it.
func (c *check) proportions(k King, sizes map[frame.Role]size) {
	beam := frame.RoleGirt
	if k.GirtDropMM == 0 {
		beam = frame.RolePlate
	}
	type side struct {
		role frame.Role
		deep bool
	}
	of := func(s side) (float64, string) {
		if s.deep {
			return sizes[s.role].DepthMM, "depth"
		}
		return sizes[s.role].WidthMM, "width"
	}
	for _, pair := range [][2]side{
		{{frame.RoleTieBeam, false}, {frame.RolePost, false}},
		{{frame.RoleKingPost, false}, {frame.RoleTieBeam, false}},
		{{frame.RolePrincipalRafter, false}, {frame.RoleKingPost, false}},
		{{frame.RoleStrut, false}, {frame.RolePrincipalRafter, false}},
		{{frame.RoleKneeBrace, false}, {frame.RoleTieBeam, false}},
		{{frame.RoleKneeBrace, false}, {beam, false}},
		{{beam, false}, {frame.RolePost, true}},
		{{frame.RolePurlin, true}, {frame.RolePrincipalRafter, true}},
		{{frame.RoleRidgeBeam, false}, {frame.RoleKingPost, true}},
	} {
		small, smallSide := of(pair[0])
		large, largeSide := of(pair[1])
		if small > large {
			c.fault("sections", "The %s of a %s, %.0f mm, is more than the %s of a %s that receives it, %.0f mm; make it smaller or the other larger.",
				smallSide, pair[0].role, small, largeSide, pair[1].role, large)
		}
	}
}
