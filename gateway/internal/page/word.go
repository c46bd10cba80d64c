package page

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/units"
)

// functions are what templates write numbers, times and words with.
func functions() template.FuncMap {
	return template.FuncMap{
		"feet":        feet,
		"inches":      inches,
		"pounds":      func(kg float64) string { return whole(units.PoundsFromKG(kg)) },
		"force":       func(n float64) string { return whole(units.PoundsForceFromN(n)) },
		"cubic":       func(m3 float64) string { return decimals(m3*1e9/cubicFootMM3, 1) },
		"poundsOne":   func(kg float64) string { return decimals(units.PoundsFromKG(kg), 1) },
		"int":         func(n int32) int { return int(n) },
		"dict":        dict,
		"first":       first[*riggingv1.Pick],
		"whole":       whole,
		"braces":      braceLines,
		"instruction": instruction,
		"marksAnd":    marksAnd,
		"plain":       plain,
		"run":         run,
		"slings":      slingLines,
		"one":         func(v float64) string { return decimals(v, 1) },
		"two":         func(v float64) string { return decimals(v, 2) },
		"percent":     percent,
		"word":        word,
		"when":        when,
		"stamp":       stamp,
		"list":        list,
		"path":        url.PathEscape,
		"size":        size,
		"mph":         mph,
		"mphDown":     mphDown,
		"footPounds":  func(nm float64) string { return whole(nm / newtonMetresPerFootPound) },
		"amount":      amount,
		"capital":     capital,
		"pin":         pin,
		"add":         func(a, b int) int { return a + b },
		"count":       count,
		"section":     section,
		"sentenceEnd": sentenceEnd,
	}
}

// cubicFootMM3 is the volume of a cubic foot.
const cubicFootMM3 = units.MMPerFoot * units.MMPerFoot * units.MMPerFoot

// newtonMetresPerFootPound is newton metres in a foot-pound.
const newtonMetresPerFootPound = units.NPerPoundForce * units.MMPerFoot / 1000

// mph writes a speed in miles an hour.
func mph(mps float64) string { return whole(units.MPHFromMPerS(mps)) }

// mphDown writes a speed that is a limit, rounded down, so that it never reads as more than it is.
func mphDown(mps float64) string { return whole(math.Floor(units.MPHFromMPerS(mps) + 1e-9)) }

// amount writes what is used, or what there is of it, in the unit that the job's people read.
func amount(value float64, unit string) string {
	switch unit {
	case "N":
		return whole(units.PoundsForceFromN(value)) + " lbf"
	case "N·m", "Nm":
		return whole(value/newtonMetresPerFootPound) + " lb·ft"
	case "Pa":
		return whole(units.PSIFromPa(value)) + " psi"
	case "m":
		return inches(value*1000) + " in"
	case "mm":
		return inches(value) + " in"
	case "m/s":
		return mph(value) + " mph"
	case "":
		return decimals(value, 2)
	}
	return decimals(value, 2) + " " + unit
}

// pin is what keeps an address that has a query already at the revision of its page.
func pin(v *view) template.URL {
	if v.Query() == "" {
		return ""
	}
	// Only a number is in it.
	return template.URL("&" + v.Query()[1:]) // #nosec G203
}

// capital writes a sentence with its first letter large.
func capital(text string) string {
	r, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return text
	}
	return string(unicode.ToUpper(r)) + text[size:]
}

// feet writes a length with a true minus sign.
func feet(mm float64) string {
	text := units.FeetInches(mm)
	if rest, negative := strings.CutPrefix(text, "-"); negative {
		return "−" + rest
	}
	return text
}

// run writes the length of many sticks together, in whole inches rounded up.
func run(mm float64) string { return feet(math.Ceil(mm/units.MMPerInch-1e-9) * units.MMPerInch) }

// inches writes a length for a column whose head says that it is in inches.
func inches(mm float64) string {
	return strings.TrimPrefix(strings.TrimSuffix(units.Inches(mm), `"`), "0 ")
}

// whole writes a number rounded to a whole one, its thousands apart.
func whole(v float64) string { return decimals(v, 0) }

// decimals writes a number with so many decimals, its thousands apart.
func decimals(v float64, places int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	text := strconv.FormatFloat(math.Abs(v), 'f', places, 64)
	integer, fraction, _ := strings.Cut(text, ".")
	var out strings.Builder
	if v < 0 && strings.Trim(text, "0.") != "" {
		out.WriteString("−")
	}
	for i, digit := range integer {
		if i > 0 && (len(integer)-i)%3 == 0 {
			out.WriteByte(',')
		}
		out.WriteRune(digit)
	}
	if fraction != "" {
		out.WriteString("." + fraction)
	}
	return out.String()
}

// percent writes a share rounded up, so that what is over a limit never reads as if it were at it.
func percent(share float64) string {
	if math.IsNaN(share) || math.IsInf(share, 0) {
		return "–"
	}
	return strconv.FormatFloat(math.Ceil(share*100-1e-9), 'f', 0, 64)
}

// word writes a value of an enumeration as people say it: ROLE_KNEE_BRACE becomes "knee brace".
func word(value protoreflect.Enum) string {
	descriptor := value.Descriptor()
	named := descriptor.Values().ByNumber(value.Number())
	if named == nil || named.Number() == 0 {
		return "not said"
	}
	// Two ways to fail are wider than their names: a joint is bent, sheared and twisted too, and an anchor also pushed.
	switch value {
	case sequencingv1.Failure_FAILURE_JOINT_CRUSHED:
		return "joint overloaded"
	case sequencingv1.Failure_FAILURE_ANCHOR_PULLED_OUT:
		return "anchor overloaded"
	}
	name := strings.TrimPrefix(string(named.Name()), upperSnake(string(descriptor.Name()))+"_")
	return strings.ToLower(strings.ReplaceAll(name, "_", " "))
}

// upperSnake writes EntryKind as ENTRY_KIND.
func upperSnake(name string) string {
	var out strings.Builder
	for i, r := range name {
		if i > 0 && unicode.IsUpper(r) {
			out.WriteByte('_')
		}
		out.WriteRune(unicode.ToUpper(r))
	}
	return out.String()
}

// when writes a time of the site, as people there say it.
func when(at *timestamppb.Timestamp, zone *time.Location) string {
	if at == nil {
		return "–"
	}
	return at.AsTime().In(zone).Format("Mon 2 Jan 2006, 15:04")
}

// stamp writes a time with its zone.
func stamp(at time.Time, zone *time.Location) string {
	return at.In(zone).Format("2 Jan 2006, 15:04 MST")
}

// listShown is how many marks a sentence names before it counts the rest.
const listShown = 12

// list writes marks as a sentence part.
func list(marks []string) string {
	if len(marks) > listShown {
		return strings.Join(marks[:listShown], ", ") + fmt.Sprintf(" and %d more", len(marks)-listShown)
	}
	return strings.Join(marks, ", ")
}

// marksAnd writes marks as a sentence part that ends: A, B and C.
func marksAnd(marks []string) string {
	if len(marks) < 2 || len(marks) > listShown {
		return list(marks)
	}
	end := len(marks) - 1
	return strings.Join(marks[:end], ", ") + " and " + marks[end]
}

// plain writes a key such as white-oak as words.
func plain(key string) string { return strings.ReplaceAll(key, "-", " ") }

// size writes a nominal section in inches, such as 8 × 10.
func size(width, depth float64) string {
	number := func(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }
	return number(width) + " × " + number(depth)
}

// dict makes the data of a template that is given several things: names and values in turn.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, errors.New("dict takes names and values in turn")
	}
	data := make(map[string]any, len(pairs)/2)
	for i := 0; i < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("%v is no name", pairs[i])
		}
		data[name] = pairs[i+1]
	}
	return data, nil
}

// count writes a number of things: 1 move, 2 moves.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// section writes the label of a group with its first letter as it is, empty as a dash.
func section(label string) string {
	if label == "" {
		return "–"
	}
	return label
}

// sentenceEnd ends a text with a full stop when it has no end of its own.
func sentenceEnd(text string) string {
	if text == "" || strings.ContainsAny(text[len(text)-1:], ".!?") {
		return text
	}
	return text + "."
}
