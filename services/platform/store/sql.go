package store

import (
	"strconv"
	"strings"
)

// The two engines read one SQL text. These functions change it word by word and leave string
// literals, quoted names and comments as they are.

// numbered turns each "?" into $1, $2, …
func numbered(q string) string {
	if !strings.Contains(q, "?") {
		return q
	}
	var b strings.Builder
	b.Grow(len(q) + 16)
	n := 0
	for _, p := range pieces(q) {
		if p == "?" {
			n++
			b.WriteByte('$')
			b.WriteString(strconv.Itoa(n))
			continue
		}
		b.WriteString(p)
	}
	return b.String()
}

// postgresTypes writes the types of a migration as PostgreSQL calls them. Type names are in
// capitals, so that a column may be called "text". TEXT compares bytewise, as on SQLite;
// INTEGER and REAL are as wide as they are there; WITHOUT ROWID falls away.
func postgresTypes(s string) string {
	var b strings.Builder
	b.Grow(len(s) + 64)
	words := pieces(s)
	for i := 0; i < len(words); i++ {
		switch words[i] {
		case "BLOB":
			b.WriteString("BYTEA")
		case "TEXT":
			b.WriteString(`TEXT COLLATE "C"`)
		case "INTEGER":
			b.WriteString("BIGINT")
		case "REAL":
			b.WriteString("DOUBLE PRECISION")
		case "WITHOUT":
			if i+2 < len(words) && words[i+2] == "ROWID" {
				i += 2
				continue
			}
			b.WriteString(words[i])
		default:
			b.WriteString(words[i])
		}
	}
	return b.String()
}

// pieces cuts SQL into words, placeholders, quoted or commented runs, and single other bytes.
func pieces(q string) []string {
	var out []string
	for len(q) > 0 {
		n := 1
		switch c := q[0]; {
		case c == '\'' || c == '"':
			n = quoted(q, c)
		case strings.HasPrefix(q, "--"):
			n = until(q, "\n")
		case strings.HasPrefix(q, "/*"):
			n = until(q, "*/")
		case word(c):
			for n < len(q) && word(q[n]) {
				n++
			}
		}
		out = append(out, q[:n])
		q = q[n:]
	}
	return out
}

// quoted is the length of a quoted run; a doubled quote inside stands for one, and so reads
// as two runs side by side, which comes to the same.
func quoted(q string, quote byte) int {
	if end := strings.IndexByte(q[1:], quote); end >= 0 {
		return end + 2
	}
	return len(q)
}

func until(q, mark string) int {
	if end := strings.Index(q, mark); end >= 0 {
		return end + len(mark)
	}
	return len(q)
}

func word(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c >= 0x80
}
