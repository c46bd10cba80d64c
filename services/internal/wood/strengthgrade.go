package wood

import (
	"fmt"
	"strings"
)

// gradeRank orders grades, the best first.
type gradeRank int

const (
	gradeSelect gradeRank = iota
	gradeOne
	gradeTwo
	gradeThree
	gradeUtility
)

// String is the grade in words.
func (k gradeRank) String() string {
	return [...]string{"Select structural", "No. 1", "No. 2", "No. 3", "utility"}[k]
}

// share is what grades below No. 2 have of its strength; from memory, rounded down from the tables of dimension
// lumber.
func (k gradeRank) share() float64 {
	switch k {
	case gradeThree:
		return 0.5
	case gradeUtility:
		return 0.25
	}
	return 1
}

// shareOfE is what grades below No. 2 have of its modulus; from memory.
func (k gradeRank) shareOfE() float64 {
	if k >= gradeThree {
		return 0.8
	}
	return 1
}

// readGrade understands a grade as people write it.
func (d *Design) readGrade(text string) gradeRank {
	k, ok := gradeOf(text)
	switch {
	case !ok && strings.TrimSpace(text) == "":
		d.Notes = append(d.Notes, "No grade is given; No. 2 is taken.")
	case !ok:
		d.Notes = append(d.Notes, fmt.Sprintf("The grade %q is not understood; No. 2 is taken.", text))
	}
	if k >= gradeThree {
		d.Status = FromMemory
		d.Notes = append(d.Notes, "Values below No. 2 are a share of those of No. 2, from memory.")
	}
	d.Grade = k.String()
	return k
}

func gradeOf(text string) (gradeRank, bool) {
	t := strings.ToLower(text)
	for _, low := range []string{"utility", "economy", "reject", "cull"} {
		if strings.Contains(t, low) {
			return gradeUtility, true
		}
	}
	words := strings.FieldsFunc(t, func(r rune) bool { return strings.ContainsRune(" .,#-_/()&", r) })
	rank, found := gradeTwo, false
	for _, w := range words {
		k, ok := gradeWord(w)
		if !ok {
			continue
		}
		// Of two grades named together the lower one counts: "No. 2 and better", "No. 1 or No. 2".
		if !found || k > rank {
			rank = k
		}
		found = true
	}
	return rank, found
}

func gradeWord(w string) (gradeRank, bool) {
	switch w {
	case "select", "sel", "selstr", "ss":
		return gradeSelect, true
	case "1", "no1", "one", "i":
		return gradeOne, true
	case "2", "no2", "two", "ii":
		return gradeTwo, true
	case "3", "no3", "three", "iii", "stud", "standard":
		return gradeThree, true
	}
	return gradeTwo, false
}
