package frame

import "github.com/pikepole/pikepole/services/internal/joinery"

// Role is what a timber does in the frame.
type Role int32

// The roles.
const (
	RoleUnspecified     Role = 0
	RolePost            Role = 1
	RoleTieBeam         Role = 2
	RolePrincipalRafter Role = 3
	RoleCommonRafter    Role = 4
	RoleKingPost        Role = 5
	RoleQueenPost       Role = 6
	RoleStrut           Role = 7
	RoleKneeBrace       Role = 8
	RoleCollarTie       Role = 9
	RoleGirt            Role = 10
	RolePlate           Role = 11
	RolePurlin          Role = 12
	RoleRidgeBeam       Role = 13
	RoleJoist           Role = 14
	RoleSummerBeam      Role = 15
	RoleSill            Role = 16
	RoleHammerBeam      Role = 17
	RoleHammerPost      Role = 18
)

// String is the role in trade words.
func (r Role) String() string {
	return name(int32(r), "unknown role", "unspecified role", "post", "tie beam", "principal rafter",
		"common rafter", "king post", "queen post", "strut", "knee brace", "collar tie", "girt",
		"plate", "purlin", "ridge beam", "joist", "summer beam", "sill", "hammer beam", "hammer post")
}

// Known reports whether the role is one of the roles.
func (r Role) Known() bool { return r > RoleUnspecified && r <= RoleHammerPost }

// Finish is how the surface of a stick was left.
type Finish int32

// The finishes.
const (
	FinishUnspecified Finish = 0
	FinishRoughSawn   Finish = 1
	FinishPlaned      Finish = 2
)

// String is the finish in trade words.
func (f Finish) String() string {
	return name(int32(f), "unknown finish", "unspecified finish", "rough sawn", "planed")
}

// Face is a long face of a stick, in its own axes.
type Face = joinery.Face

// The long faces.
const (
	PlusDepth  = joinery.PlusDepth
	MinusDepth = joinery.MinusDepth
	PlusWidth  = joinery.PlusWidth
	MinusWidth = joinery.MinusWidth
)

// End is a place on the entering timber.
type End = joinery.End

// The places of a joint on the entering timber.
const (
	AtStart = joinery.AtStart
	AtEnd   = joinery.AtEnd
	Along   = joinery.Along
)

// AssemblyKind is what kind an assembly is.
type AssemblyKind int32

// The kinds of assembly.
const (
	AssemblyUnspecified AssemblyKind = 0
	AssemblyBent        AssemblyKind = 1
	AssemblyRoofTruss   AssemblyKind = 2
	AssemblyWallPanel   AssemblyKind = 3
)

// String is the kind in trade words.
func (k AssemblyKind) String() string {
	return name(int32(k), "unknown assembly", "unspecified assembly", "bent", "roof truss", "wall panel")
}

// Known reports whether the kind is one of the kinds of assembly.
func (k AssemblyKind) Known() bool { return k > AssemblyUnspecified && k <= AssemblyWallPanel }

// HardwareKind is what a piece of hardware is.
type HardwareKind int32

// The kinds of hardware.
const (
	HardwareUnspecified HardwareKind = 0
	HardwarePostBase    HardwareKind = 1
	HardwareRod         HardwareKind = 2
	HardwarePlate       HardwareKind = 3
	HardwareBolt        HardwareKind = 4
	HardwareScrew       HardwareKind = 5
)

// String is the kind in trade words.
func (k HardwareKind) String() string {
	return name(int32(k), "unknown hardware", "unspecified hardware", "post base", "rod", "plate", "bolt", "screw")
}

// Known reports whether the kind is one of the kinds of hardware.
func (k HardwareKind) Known() bool { return k > HardwareUnspecified && k <= HardwareScrew }

func name(i int32, unknown string, names ...string) string {
	if i < 0 || int(i) >= len(names) {
		return unknown
	}
	return names[i]
}
