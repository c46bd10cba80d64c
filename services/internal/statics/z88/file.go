package z88

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// order numbers the nodes that have beams so that neighbours have near numbers, as z88f stores a skyline (Cuthill and
// McKee, backwards).
func (b *builder) order() {
	near := make([][]int, len(b.nodes))
	for _, e := range b.beams {
		near[e.i] = append(near[e.i], e.j)
		near[e.j] = append(near[e.j], e.i)
	}
	b.number = make([]int, len(b.nodes))
	var order []int
	for {
		start := -1
		for i := range near {
			if len(near[i]) > 0 && b.number[i] == 0 && (start < 0 || b.leftOf(i, start)) {
				start = i
			}
		}
		if start < 0 {
			break
		}
		b.number[start] = 1
		order = append(order, start)
		for at := len(order) - 1; at < len(order); at++ {
			next := near[order[at]]
			slices.SortFunc(next, func(i, j int) int { return len(near[i]) - len(near[j]) })
			for _, i := range next {
				if b.number[i] == 0 {
					b.number[i] = 1
					order = append(order, i)
				}
			}
		}
	}
	for k, i := range order {
		b.number[i] = len(order) - k
	}
}

// leftOf puts nodes in order of x, then y: a row of bents begins with its first.
func (b *builder) leftOf(i, j int) bool {
	p, q := b.nodes[i].at, b.nodes[j].at
	if p.X != q.X {
		return p.X < q.X
	}
	return p.Y < q.Y
}

// write writes the input files.
func (b *builder) write(folder string) error {
	byNumber := make([]int, 0, len(b.nodes))
	for i, n := range b.number {
		if n > 0 {
			byNumber = append(byNumber, i)
		}
	}
	slices.SortFunc(byNumber, func(i, j int) int { return b.number[i] - b.number[j] })
	for name, text := range map[string]string{
		"z88i1.txt": b.structure(byNumber),
		"z88i2.txt": b.conditions(byNumber),
		"z88i3.txt": "0 0 0\n",
		"z88i5.txt": "0\n",
		"z88.dyn":   b.limits(len(byNumber)),
	} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			return fmt.Errorf("write z88's input: %w", err)
		}
	}
	return nil
}

// structure is the file of nodes, elements and materials.
func (b *builder) structure(byNumber []int) string {
	var w strings.Builder
	fmt.Fprintf(&w, "3 %d %d %d %d 0 1 0 0\n", len(byNumber), len(b.beams), 6*len(byNumber), len(b.beams))
	for k, i := range byNumber {
		at := b.nodes[i].at
		fmt.Fprintf(&w, "%d 6 %s %s %s\n", k+1, place(at.X), place(at.Y), place(at.Z))
	}
	for k, e := range b.beams {
		fmt.Fprintf(&w, "%d 2\n%d %d\n", k+1, b.number[e.i], b.number[e.j])
	}
	for k, e := range b.beams {
		fmt.Fprintf(&w, "%d %d %.12e 0. 1 %.12e %.12e 1. %.12e 1. %.12e 1.\n", k+1, k+1, e.e, e.a, e.level, e.other, e.it)
	}
	return w.String()
}

// place is a coordinate to the nanometre, so that a post is plumb in spite of rounding: z88 finds the level axis of what
// is not.
func place(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e9)/1e9, 'f', 9, 64)
}

// conditions is the file of what holds and loads the nodes.
func (b *builder) conditions(byNumber []int) string {
	var lines []string
	for k, i := range byNumber {
		n := &b.nodes[i]
		for f := range 6 {
			switch {
			case n.fixed[f]:
				lines = append(lines, fmt.Sprintf("%d %d 2 %.12e\n", k+1, f+1, n.value[f]))
			case n.load[f] != 0:
				lines = append(lines, fmt.Sprintf("%d %d 1 %.12e\n", k+1, f+1, n.load[f]))
			}
		}
	}
	return fmt.Sprintf("%d\n%s", len(lines), strings.Join(lines, ""))
}

// limits is the file of the memory that z88 may take.
func (b *builder) limits(nodes int) string {
	skyline := 0
	lowest := make([]int, nodes+1)
	for i := range lowest {
		lowest[i] = i
	}
	for _, e := range b.beams {
		p, q := b.number[e.i], b.number[e.j]
		high, low := max(p, q), min(p, q)
		lowest[high] = min(lowest[high], low)
	}
	for i := 1; i <= nodes; i++ {
		skyline += 36 * (i - lowest[i] + 1)
	}
	n := len(b.beams) + nodes + 1000
	return fmt.Sprintf(`DYNAMIC START
ENGLISH
NET START
MAXSE 100
MAXESS 100
MAXKSS 100
MAXAN 15
NET END
COMMON START
MAXGS %d
MAXKOI %d
MAXK %d
MAXE %d
MAXNFG %d
MAXNEG %d
MAXPR 10
MAXRBD %d
MAXIEZ 1000
MAXGP 1000
COMMON END
CUTKEE START
MAXGRA 200
MAXNDL 1000
CUTKEE END
DYNAMIC END
`, skyline+1000, 20*n, n, n, 6*n, n, 6*n)
}

// rows reads the lines of an output file that begin with a number and have six values, and passes the headings by.
func rows(folder, name string, row func(number int, v statics.Vec6), heading func(fields []string)) error {
	f, err := os.Open(filepath.Join(folder, name))
	if err != nil {
		return fmt.Errorf("read z88's answer: %w", err)
	}
	defer f.Close()
	in := bufio.NewScanner(f)
	for in.Scan() {
		fields := strings.Fields(in.Text())
		if len(fields) != 7 {
			heading(fields)
			continue
		}
		number, err := strconv.Atoi(fields[0])
		if err != nil {
			heading(fields)
			continue
		}
		var v statics.Vec6
		for i := range v {
			if v[i], err = strconv.ParseFloat(fields[i+1], 64); err != nil {
				return fmt.Errorf("read z88's answer: %s: %w", in.Text(), err)
			}
		}
		row(number, v)
	}
	return in.Err()
}

// readDisplacements are those of z88's nodes, by number.
func readDisplacements(folder string, nodes int) ([]statics.Vec6, error) {
	u := make([]statics.Vec6, nodes+1)
	err := rows(folder, "z88o2.txt", func(number int, v statics.Vec6) { u[number] = v }, func([]string) {})
	return u, err
}

// readForces are those at both ends of each of z88's elements, in global axes.
func readForces(folder string, beams int) ([][2]statics.Vec6, error) {
	f := make([][2]statics.Vec6, beams)
	element, end := -1, 0
	err := rows(folder, "z88o4.txt", func(_ int, v statics.Vec6) {
		if element >= 0 && element < beams && end < 2 {
			f[element][end] = v
			end++
		}
	}, func(fields []string) {
		// element # =     1     type = beam in space
		switch {
		case len(fields) > 3 && fields[0] == "element" && fields[1] == "#":
			if n, err := strconv.Atoi(fields[3]); err == nil {
				element, end = n-1, 0
			}
		case len(fields) > 2 && fields[0] == "now":
			element = -1
		}
	})
	return f, err
}

// answer takes what z88 says back to the model.
func (b *builder) answer(u []statics.Vec6, f [][2]statics.Vec6) *Answer {
	a := &Answer{
		Displacements: make([]statics.Vec6, len(b.m.Nodes)), Ends: make([][2]statics.Vec6, len(b.m.Members)),
	}
	for i := range a.Displacements {
		if n := b.number[i]; n > 0 {
			a.Displacements[i] = u[n]
		}
	}
	for i := range a.Ends {
		for end, k := range [2]int{b.first[i], b.last[i]} {
			var g statics.Vec6
			if k >= 0 {
				g = f[k][end]
				subtract(&g, b.beams[k].even[end])
			}
			if b.m.Members[i].Kind != statics.Beam { // what little it bends stands for nothing
				g = force(geom.Scale(turn(b.axes[i], g)[0], b.axes[i][0]), geom.Vec{})
				subtract(&g, b.shares[i][end])
			}
			a.Ends[i][end] = turn(b.axes[i], g)
		}
	}
	return a
}

func subtract(from *statics.Vec6, f statics.Vec6) {
	for i, v := range f {
		from[i] -= v
	}
}

// turn gives a force and a moment in local axes.
func turn(axes [3]geom.Vec, g statics.Vec6) (l statics.Vec6) {
	f, m := geom.V(g[0], g[1], g[2]), geom.V(g[3], g[4], g[5])
	for a, axis := range axes {
		l[a], l[a+3] = geom.Dot(axis, f), geom.Dot(axis, m)
	}
	return l
}
