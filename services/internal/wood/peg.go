package wood

// PegDistances are the least distances of a peg, in multiples of its diameter, before the wood
// beside it gives way first: along the grain to the tenon's end, to the mortised face, and between pegs.
type PegDistances struct {
	End, Edge, Spacing float64
	// Status is FromMemory for every row: remembered from university tests with 1-inch pegs, for
	// warnings only.
	Status Status
}

// PegDistancesOf gives the least peg distances in a species; false where none are known.
func PegDistancesOf(key string) (PegDistances, bool) {
	switch key {
	case "douglas-fir":
		return PegDistances{End: 2, Edge: 2.5, Spacing: 2.5}, true
	case "eastern-white-pine":
		return PegDistances{End: 4, Edge: 4, Spacing: 3}, true
	case "northern-red-oak", "white-oak":
		return PegDistances{End: 3, Edge: 2, Spacing: 2.5}, true
	case "loblolly-pine", "longleaf-pine":
		return PegDistances{End: 2, Edge: 2, Spacing: 3}, true
	}
	return PegDistances{}, false
}
