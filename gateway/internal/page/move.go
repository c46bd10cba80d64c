package page

import (
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// braceLine is a rule with the sticks that get temporary braces by it.
type braceLine struct {
	Rule  string
	Marks []string
}

// braceLines puts the braces of a move together by their rule, in the order of the move.
func braceLines(braces []*sequencingv1.TemporaryBrace) []braceLine {
	var lines []braceLine
	at := map[string]int{}
	for _, brace := range braces {
		i, known := at[brace.GetRule()]
		if !known {
			i = len(lines)
			at[brace.GetRule()] = i
			lines = append(lines, braceLine{Rule: brace.GetRule()})
		}
		lines[i].Marks = append(lines[i].Marks, brace.GetMark())
	}
	return lines
}
