// Package natural orders marks as people read them: runs of digits count as numbers, so P-2 comes
// before P-10.
package natural

import "cmp"

// Compare gives -1, 0 or +1. Digits compare by value and stand before letters as bytes do; where two
// texts differ only in leading zeros the one with fewer comes first, so that only equal texts are equal.
func Compare(a, b string) int {
	i, j := 0, 0
	for i < len(a) && j < len(b) {
		if !digit(a[i]) || !digit(b[j]) {
			if a[i] != b[j] {
				return cmp.Compare(a[i], b[j])
			}
			i, j = i+1, j+1
			continue
		}
		x, nextI := number(a, i)
		y, nextJ := number(b, j)
		if c := cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(x, y)); c != 0 {
			return c
		}
		i, j = nextI, nextJ
	}
	return cmp.Or(cmp.Compare(len(a)-i, len(b)-j), cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}

func digit(c byte) bool { return '0' <= c && c <= '9' }

// number gives the digits that start at i without leading zeros, and where they end.
func number(s string, i int) (string, int) {
	for i < len(s) && s[i] == '0' {
		i++
	}
	start := i
	for i < len(s) && digit(s[i]) {
		i++
	}
	return s[start:i], i
}
