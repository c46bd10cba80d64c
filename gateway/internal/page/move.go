package page

import (
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// unchecked are the words that stand behind what a simple rule gave. A move says them once, with a
// sign, rather than behind each sentence.
const unchecked = "not checked for standing"

// braceLine is a rule with the temporary braces that are set by it.
type braceLine struct {
	// Rule begins with a small letter, since it stands behind a colon, and ends with a full stop.
	Rule string
	// Marks are the sticks that the braces hold, each once.
	Marks  []string
	Braces []brace
}

// brace is where one temporary brace goes.
type brace struct {
	Mark string
	// UpMM is how high over its foot the brace is fixed to the stick.
	UpMM float64
	// FootXMM and FootYMM are measured from the control lines, as on the layout sheet.
	FootXMM, FootYMM float64
	// LengthMM is from its foot to where it is fixed.
	LengthMM float64
}

// braceLines puts the braces of a move together by their rule, in the order of the move.
func braceLines(braces []*sequencingv1.TemporaryBrace) []braceLine {
	var lines []braceLine
	at := map[string]int{}
	for _, b := range braces {
		rule := ruleWords(b.GetRule())
		i, known := at[rule]
		if !known {
			i = len(lines)
			at[rule] = i
			lines = append(lines, braceLine{Rule: rule})
		}
		line := &lines[i]
		if !slices.Contains(line.Marks, b.GetMark()) {
			line.Marks = append(line.Marks, b.GetMark())
		}
		line.Braces = append(line.Braces, placeOf(b))
	}
	return lines
}

// ruleWords is a rule as it stands behind a colon.
func ruleWords(rule string) string {
	rule = strings.TrimRight(strings.TrimSuffix(strings.TrimSuffix(rule, "."), unchecked), "; ")
	r, size := utf8.DecodeRuneInString(rule)
	if size == 0 {
		return ""
	}
	return string(unicode.ToLower(r)) + rule[size:] + "."
}

func placeOf(b *sequencingv1.TemporaryBrace) brace {
	foot, top := b.GetFoot(), b.GetTop()
	return brace{
		Mark: b.GetMark(), UpMM: top.GetZMm() - foot.GetZMm(),
		FootXMM: foot.GetXMm(), FootYMM: foot.GetYMm(), LengthMM: distance(foot, top),
	}
}

func distance(a, b *framev1.Point) float64 {
	return math.Hypot(math.Hypot(a.GetXMm()-b.GetXMm(), a.GetYMm()-b.GetYMm()), a.GetZMm()-b.GetZMm())
}

// instruction is what a move says to do. A move with braces says by itself how many there are and
// that nobody checked them, so a sentence that says it too is left out.
func instruction(m *sequencingv1.Move) string {
	if len(m.GetBraces()) == 0 {
		return m.GetInstruction()
	}
	sentences := strings.SplitAfter(m.GetInstruction(), ". ")
	kept := slices.DeleteFunc(sentences, func(s string) bool {
		return strings.Contains(s, unchecked) && strings.Contains(s, "temporary brace")
	})
	return strings.TrimSpace(strings.Join(kept, ""))
}

// assemblies are those that the moves of a raising order raise, in its order.
func assemblies(raising *sequencingv1.Raising) []string {
	var names []string
	for _, m := range raising.GetMoves() {
		if name := m.GetAssembly(); name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}
