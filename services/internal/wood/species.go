package wood

// species lists what is known. Gravities: WH tables 4-1 and 5-3a; shrinkages: WH table 4-3, or
// inverted from the change coefficients of WH table 13-5 where Computed. A species has the
// lowest status of its figures.
func species() [15]Species {
	return [...]Species{
		{"eastern-white-pine", "Eastern white pine", 0.34, 0.35, 2.1, 6.1, false, FromMemory, Computed},
		{"douglas-fir", "Douglas-fir, coast", 0.45, 0.48, 4.8, 7.6, false, Published, Published},
		{"northern-red-oak", "Northern red oak", 0.56, 0.63, 4.0, 8.6, true, Published, Published},
		{"white-oak", "White oak", 0.60, 0.68, 5.6, 10.5, true, Published, Published},
		{"eastern-hemlock", "Eastern hemlock", 0.38, 0.40, 3.0, 6.8, false, Published, Published},
		{"white-spruce", "White spruce", 0.33, 0.36, 4.7, 8.2, false, FromMemory, FromMemory},
		{"red-pine", "Red pine", 0.41, 0.46, 3.8, 7.2, false, Published, Computed},
		{"loblolly-pine", "Loblolly pine", 0.47, 0.51, 4.8, 7.4, false, Published, Published},
		{"longleaf-pine", "Longleaf pine", 0.54, 0.59, 5.1, 7.5, false, Published, Published},
		{"western-redcedar", "Western redcedar", 0.31, 0.32, 2.4, 5.0, false, FromMemory, Published},
		{"northern-white-cedar", "Northern white cedar", 0.29, 0.31, 2.2, 4.9, false, FromMemory, Published},
		{"western-larch", "Western larch", 0.48, 0.52, 4.5, 9.1, false, Published, Published},
		{"tamarack", "Tamarack", 0.49, 0.53, 3.7, 7.4, false, FromMemory, Computed},
		{"white-ash", "White ash", 0.55, 0.60, 4.9, 7.8, true, Published, Published},
		{"black-cherry", "Black cherry", 0.47, 0.50, 3.7, 7.1, true, Published, Published},
	}
}
