// Package accept chooses the form of an answer from what a client accepts (RFC 9110, section 12.5.1).
package accept

import (
	"mime"
	"strconv"
	"strings"
)

// Choose gives the offer that the Accept header likes best; among equals the first offer wins.
// Offers are media types without parameters. No header accepts everything.
func Choose(header string, offers []string) (string, bool) {
	if len(offers) == 0 {
		return "", false
	}
	ranges := parse(header)
	if len(ranges) == 0 {
		return offers[0], strings.TrimSpace(header) == ""
	}
	best, bestQuality := "", 0.0
	for _, offer := range offers {
		if quality := quality(ranges, offer); quality > bestQuality {
			best, bestQuality = offer, quality
		}
	}
	return best, bestQuality > 0
}

type mediaRange struct {
	main, sub string
	quality   float64
}

// specificity orders ranges that match the same type: the most specific one decides.
func (r mediaRange) specificity() int {
	switch {
	case r.main == "*":
		return 1
	case r.sub == "*":
		return 2
	}
	return 3
}

func (r mediaRange) matches(main, sub string) bool {
	return (r.main == "*" || r.main == main) && (r.sub == "*" || r.sub == sub)
}

func parse(header string) []mediaRange {
	var ranges []mediaRange
	for part := range strings.SplitSeq(header, ",") {
		mediaType, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		main, sub, ok := strings.Cut(mediaType, "/")
		if !ok || main == "" || sub == "" || (main == "*" && sub != "*") {
			continue
		}
		ranges = append(ranges, mediaRange{main: main, sub: sub, quality: weight(params["q"])})
	}
	return ranges
}

// weight reads a q value; what cannot be read counts as 1, since the type itself was named.
func weight(text string) float64 {
	if text == "" {
		return 1
	}
	q, err := strconv.ParseFloat(text, 64)
	if err != nil || !(q >= 0 && q <= 1) {
		return 1
	}
	return q
}

func quality(ranges []mediaRange, offer string) float64 {
	main, sub, _ := strings.Cut(offer, "/")
	best, quality := 0, 0.0
	for _, r := range ranges {
		if r.matches(main, sub) && r.specificity() > best {
			best, quality = r.specificity(), r.quality
		}
	}
	return quality
}
