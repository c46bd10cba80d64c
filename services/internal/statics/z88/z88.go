// Package z88 is for tests: it has structures solved by z88, a general-purpose finite element program in Debian that shares
// no line with this module, so that package statics and all that stands on it can be held against it. It writes
// a statics.Model with one case to z88's files, runs its solver z88f and its nodal force program z88e, and reads
// displacements and the forces at the ends of members back.
//
// # What z88 has
//
// Its two-node beam in space (element 2): cubic bending without shear strain, torsion, a section whose y axis is level. Its manual
// says that rotation 5 goes against the right-hand rule; the files of version 13.0 follow the rule in all rotations, and a
// test here keeps watch. It knows no end releases, springs, rigid arms, loads between nodes or one-sided parts.
//
// # What stands in for the rest
//
//   - A shear modulus: Poisson's ratio is 0, so that z88 takes G = E/2, and the torsion constant is scaled to the wanted G·J.
//   - A section whose axes are not level is refused, unless it is as stiff about both.
//   - A rigid arm is a member so stiff that it adds a two-thousandth to the flexibility of what it carries.
//   - A spring or a release between a member and its node, or of a link, is a short member along its axis, soft along it and
//     about it and stiff in bending: up to three in a chain, one for each axis, two millimetres each.
//   - A bar has the axial stiffness of the bar and its end springs in series, and hardly any bending stiffness.
//   - A spring to the ground is a member of a metre without bending stiffness, with a held far end; so are a contact's three.
//   - A support along a slanting axis is a stiff spring to the ground.
//   - One-sided parts are taken as a result says that they ended: what is open is left out, a contact that slides has its friction
//     as a load. So a comparison checks the forces and that they agree with the state; whether it is the right state is seen from
//     their signs.
//   - Even loads become the loads at the nodes that do the same work on cubic bending; members are cut where loads begin, end or
//     act at a point.
//
// It is first-order only.
package z88

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// WithoutVariable lists, by commas, what tests may do without: "z88".
const WithoutVariable = "PIKEPOLE_TEST_WITHOUT"

// Answer is what z88 says.
type Answer struct {
	// Displacements are those of the model's nodes; a node that nothing holds in place has none.
	Displacements []statics.Vec6
	// Ends are the forces at the ends of its members, in their local axes as package statics has them: those of the joint on
	// the member's end.
	Ends [][2]statics.Vec6
}

// Need fails the test when the programs are not installed, or skips it when PIKEPOLE_TEST_WITHOUT says that it may.
func Need(t testing.TB) {
	t.Helper()
	for _, program := range []string{"z88f", "z88e"} {
		if _, err := exec.LookPath(program); err == nil {
			continue
		}
		for word := range strings.SplitSeq(os.Getenv(WithoutVariable), ",") {
			if strings.TrimSpace(word) == "z88" {
				t.Skip("told to do without z88")
			}
		}
		t.Fatalf("%s is not on the path: install the Debian package z88, or set %s=z88 to do without", program, WithoutVariable)
	}
}

// Solve has z88 solve one case. final is the result whose state of one-sided parts is taken; nil has them all closed, and
// every grip pushing.
func Solve(t testing.TB, m *statics.Model, c statics.Case, final *statics.Result) *Answer {
	t.Helper()
	Need(t)
	a, err := solve(t.TempDir(), m, c, final)
	if err != nil {
		t.Fatalf("z88: %v", err)
	}
	return a
}

// Write writes z88's input files into a folder. The error names a member that z88 cannot have.
func Write(folder string, m *statics.Model, c statics.Case, final *statics.Result) error {
	_, err := write(folder, m, c, final)
	return err
}

func write(folder string, m *statics.Model, c statics.Case, final *statics.Result) (*builder, error) {
	b := &builder{m: m, c: c, final: final}
	if err := b.build(); err != nil {
		return nil, err
	}
	b.order()
	return b, b.write(folder)
}

func solve(folder string, m *statics.Model, c statics.Case, final *statics.Result) (*Answer, error) {
	b, err := write(folder, m, c, final)
	if err != nil {
		return nil, err
	}
	for _, args := range [][]string{{"z88f", "-c"}, {"z88e"}} {
		cmd := exec.Command(args[0], args[1:]...)
		cmd.Dir = folder
		if out, err := cmd.CombinedOutput(); err != nil {
			return nil, fmt.Errorf("%s: %w: %s", args[0], err, tail(out))
		}
	}
	u, err := readDisplacements(folder, len(b.nodes))
	if err != nil {
		return nil, err
	}
	f, err := readForces(folder, len(b.beams))
	if err != nil {
		return nil, err
	}
	return b.answer(u, f), nil
}

func tail(out []byte) string {
	const most = 400
	return string(out[max(0, len(out)-most):])
}

// node is one of z88's: where it is, what holds it and what loads it.
type node struct {
	at    geom.Vec
	fixed [6]bool
	value statics.Vec6
	load  statics.Vec6
	beams int
}

// beam is one of z88's beams. level and other are its second moments of area about its level axis and the other one.
type beam struct {
	i, j                   int
	e, a, level, other, it float64
	// even are the loads that stand in for an even load, at i and j, in global axes: z88's forces count them in.
	even [2]statics.Vec6
}

// builder turns a model into z88's.
type builder struct {
	m     *statics.Model
	c     statics.Case
	final *statics.Result
	nodes []node
	beams []beam
	// first and last are the first and last beam of each member, −1 when it is left out.
	first, last []int
	// shares are the loads on each bar that its ends take.
	shares [][2]statics.Vec6
	axes   [][3]geom.Vec
	// number is z88's number of each node, from 1; 0 for those left out.
	number []int
}

var errNotLevel = errors.New("neither axis of its section is level, and it is not as stiff about both")

func (b *builder) build() error {
	for _, n := range b.m.Nodes {
		b.node(n.At)
	}
	b.supports()
	for i := range b.m.Members {
		if err := b.member(i); err != nil {
			return fmt.Errorf("member %s: %w", b.m.Members[i].Name, err)
		}
	}
	for i := range b.m.Links {
		b.link(i)
	}
	for i := range b.m.Contacts {
		b.contact(i)
	}
	for _, l := range b.c.Nodal {
		add(&b.nodes[l.Node].load, l.F)
	}
	return nil
}

func (b *builder) node(at geom.Vec) int {
	b.nodes = append(b.nodes, node{at: at})
	return len(b.nodes) - 1
}

// held is a node of the ground.
func (b *builder) held(at geom.Vec) int {
	n := b.node(at)
	b.nodes[n].fixed = [6]bool{true, true, true, true, true, true}
	return n
}

func (b *builder) beam(e beam) int {
	b.nodes[e.i].beams++
	b.nodes[e.j].beams++
	b.beams = append(b.beams, e)
	return len(b.beams) - 1
}

func add(to *statics.Vec6, f statics.Vec6) {
	for i, v := range f {
		to[i] += v
	}
}

func force(f, m geom.Vec) statics.Vec6 { return statics.Vec6{f.X, f.Y, f.Z, m.X, m.Y, m.Z} }
