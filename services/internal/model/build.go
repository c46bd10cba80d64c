package model

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// How an end of a standing stick is held.
const (
	ownNode = iota // by a node of its own
	inGrip         // by the one joint that it enters with
)

// work is a structure in the making.
type work struct {
	b *Builder
	s State
	// standing, used and node are by timber and by station; an unused station has node −1.
	standing []bool
	used     []bool
	node     []int32
	// how and grip are how the two ends of each timber are held, and by which joint.
	how, grip [][2]int32
	closed    []int
	// degree is how many joints and braces connect each timber; those that wait tied up are tied.
	degree []int
	tied   []int
	// extra are the nodes that braces and points want where no station is, by timber.
	extra []extra
	// mm is where each node lies along its stick; first is the first node of each stick, with one more at the end.
	mm    []float64
	first []int32
	out   *Structure
	m     *statics.Model
}

// extra is a node between stations.
type extra struct {
	timber int
	mm     float64
	node   int32
}

// Build is the structure of a state. The error is a *statics.InputError that names the piece.
func (b *Builder) Build(s State) (*Structure, error) {
	w := &work{b: b, s: s}
	if err := w.check(); err != nil {
		return nil, err
	}
	w.close()
	if err := w.checkCarried(); err != nil {
		return nil, err
	}
	wants := w.wants()
	w.m = &statics.Model{}
	w.out = &Structure{Model: w.m, Members: make([][]int, len(b.sticks))}
	w.nodes()
	w.members()
	w.links()
	w.feet()
	w.braces(wants)
	for _, at := range wants[2*len(s.Braces):] {
		w.out.PointNodes = append(w.out.PointNodes, w.nodeOf(at))
	}
	w.out.Notes = w.notes()
	return w.out, nil
}

// close finds the joints that are closed and how they hold the ends of the sticks.
func (w *work) close() {
	b := w.b
	w.how = make([][2]int32, len(b.sticks))
	w.grip = make([][2]int32, len(b.sticks))
	w.used = make([]bool, b.stations)
	w.closed = make([]int, 0, len(b.joints))
	w.degree = make([]int, len(b.sticks))
	for j := range b.joints {
		p := &b.joints[j]
		if w.standing[p.entering] && (p.receiving < 0 || w.standing[p.receiving]) {
			w.closed = append(w.closed, j)
			w.use(p)
			w.degree[p.entering]++
			if p.receiving >= 0 {
				w.degree[p.receiving]++
			}
		}
	}
	for k := range w.s.Braces {
		w.degree[w.s.Braces[k].Timber]++
		if w.s.Braces[k].Ground == OnTimber {
			w.degree[w.s.Braces[k].FootTimber]++
		}
	}
	for _, i := range w.s.Standing {
		s := &b.sticks[i]
		for end := range s.ends {
			n, last := 0, 0
			for _, j := range s.ends[end] {
				if w.standing[b.joints[j].receiving] {
					n, last = n+1, j
				}
			}
			if n == 1 && b.joints[last].gripped && !w.based(s, end) {
				w.how[i][end], w.grip[i][end] = inGrip, int32(last)
				continue
			}
			w.used[w.endStation(i, end)] = true
		}
		w.room(i)
	}
}

// use marks the stations of a closed joint.
func (w *work) use(p *joint) {
	if p.received >= 0 {
		w.used[w.b.sticks[p.receiving].first+p.received] = true
	}
	if p.carried >= 0 {
		w.used[w.b.sticks[p.entering].first+p.carried] = true
	}
}

// based reports whether the stick stands on the deck with that end.
func (w *work) based(s *stick, end int) bool {
	for _, j := range s.bases {
		if w.b.joints[j].end == joinery.AtStart+joinery.End(end) {
			return true
		}
	}
	return false
}

func (w *work) endStation(i, end int) int {
	s := &w.b.sticks[i]
	if end == 0 {
		return s.first
	}
	return s.first + len(s.stations) - 1
}

// room gives a stick that is gripped at both ends by one node a node of its own, since a member needs two.
func (w *work) room(i int) {
	if w.how[i] != [2]int32{inGrip, inGrip} {
		return
	}
	p, q := &w.b.joints[w.grip[i][0]], &w.b.joints[w.grip[i][1]]
	if p.receiving == q.receiving && p.received == q.received {
		w.how[i][0] = ownNode
		w.used[w.endStation(i, 0)] = true
	}
}

// hook is where something takes hold of a stick: at a station, or at an extra node as −1−k.
type hook struct {
	timber, at int
}

// wants finds the nodes that the tops and feet of braces and the points of the state take hold of: two of each brace, then
// one of each point.
func (w *work) wants() []hook {
	if len(w.s.Braces)+len(w.s.Points) == 0 {
		return nil
	}
	hooks := make([]hook, 0, 2*len(w.s.Braces)+len(w.s.Points))
	for k := range w.s.Braces {
		br := &w.s.Braces[k]
		hooks = append(hooks, w.hookAt(br.Timber, br.Top))
		if br.Ground == OnTimber {
			hooks = append(hooks, w.hookAt(br.FootTimber, br.Foot))
		} else {
			hooks = append(hooks, hook{timber: -1})
		}
	}
	for _, p := range w.s.Points {
		hooks = append(hooks, w.hook(p.Timber, p.FromStartMM))
	}
	return hooks
}

func (w *work) hookAt(i int, at geom.Vec) hook {
	s := &w.b.sticks[i].solid
	return w.hook(i, geom.Dot(geom.Sub(at, s.Start), s.Axes.Axis))
}

// hook finds the node of a stick for a place on it: a station within the reach of a cluster, else a new one.
func (w *work) hook(i int, mm float64) hook {
	s := &w.b.sticks[i]
	low, high := 0.0, s.lengthMM
	gap := min(endGapMM, s.lengthMM/4)
	if w.how[i][0] == inGrip {
		low = gap
	}
	if w.how[i][1] == inGrip {
		high -= gap
	}
	mm = min(max(mm, low), high)
	best, nearest := -1, float64(clusterMM)
	for k := range s.stations {
		gripped := k == 0 && w.how[i][0] == inGrip || k == len(s.stations)-1 && w.how[i][1] == inGrip
		if d := math.Abs(s.stations[k].mm - mm); !gripped && d <= nearest {
			if w.used[s.first+k] || d <= edgeMM {
				best, nearest = k, d
			}
		}
	}
	for k := range w.extra {
		if e := &w.extra[k]; e.timber == i && math.Abs(e.mm-mm) <= clusterMM {
			return hook{i, -1 - k}
		}
	}
	if best >= 0 {
		w.used[s.first+best] = true
		return hook{i, best}
	}
	w.extra = append(w.extra, extra{timber: i, mm: mm})
	return hook{i, -len(w.extra)}
}

func (w *work) nodeOf(h hook) int {
	if h.at < 0 {
		return int(w.extra[-1-h.at].node)
	}
	return int(w.node[w.b.sticks[h.timber].first+h.at])
}

// nodes makes the nodes: stick by stick, from start to end.
func (w *work) nodes() {
	b := w.b
	count := len(w.extra) + len(w.s.Braces)
	for _, u := range w.used {
		if u {
			count++
		}
	}
	w.m.Nodes = make([]statics.Node, 0, count)
	w.mm = make([]float64, 0, count)
	w.node = make([]int32, b.stations)
	w.first = make([]int32, len(b.sticks)+1)
	order := make([]int, len(w.extra))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(p, q int) int {
		return cmp.Or(cmp.Compare(w.extra[p].timber, w.extra[q].timber), cmp.Compare(w.extra[p].mm, w.extra[q].mm))
	})
	for i := range b.sticks {
		w.first[i] = int32(len(w.m.Nodes))
		s := &b.sticks[i]
		for k := range s.stations {
			for len(order) > 0 && w.extra[order[0]].timber == i && w.extra[order[0]].mm < s.stations[k].mm {
				e := &w.extra[order[0]]
				at := b.station(i, e.mm, -1)
				e.node = w.addNode(&at)
				order = order[1:]
			}
			w.node[s.first+k] = -1
			if w.used[s.first+k] {
				w.node[s.first+k] = w.addNode(&s.stations[k])
			}
		}
	}
	w.first[len(b.sticks)] = int32(len(w.m.Nodes))
}

func (w *work) addNode(at *station) int32 {
	w.m.Nodes = append(w.m.Nodes, statics.Node{Name: at.name, At: at.at})
	w.mm = append(w.mm, at.mm)
	return int32(len(w.m.Nodes) - 1)
}

// members makes the chains of members of the timbers.
func (w *work) members() {
	count := len(w.s.Braces) + len(w.m.Nodes) + len(w.s.Standing)
	w.m.Members = make([]statics.Member, 0, count)
	w.out.Parts = make([]Part, 0, count)
	w.out.Joints = make([]JointAt, 0, len(w.closed))
	indices := make([]int, 0, count) // one array behind all Members
	for i := range w.b.sticks {
		if !w.standing[i] {
			continue
		}
		begin := len(indices)
		w.chain(i)
		for m := begin; m < len(w.m.Members); m++ {
			indices = append(indices, m)
		}
		w.out.Members[i] = indices[begin:len(indices):len(indices)]
	}
}

// chain makes the members of one timber.
func (w *work) chain(i int) {
	s := &w.b.sticks[i]
	from, to := w.first[i], w.first[i+1]
	member := func(a, b float64) *statics.Member {
		w.m.Members = append(w.m.Members, statics.Member{
			Name: s.mark, Material: s.material, Section: s.section, YRef: s.solid.Axes.Depth,
		})
		w.out.Parts = append(w.out.Parts, Part{Timber: i, Brace: -1, FromMM: a, ToMM: b})
		return &w.m.Members[len(w.m.Members)-1]
	}
	startGripped, endGripped := w.how[i][0] == inGrip, w.how[i][1] == inGrip
	if from == to { // gripped at both ends, and nothing between
		m := member(0, s.lengthMM)
		w.gripAt(m, i, 0)
		w.gripAt(m, i, 1)
		return
	}
	if startGripped {
		m := member(0, w.mm[from])
		w.gripAt(m, i, 0)
		m.J = int(from)
	}
	for n := from; n+1 < to; n++ {
		m := member(w.mm[n], w.mm[n+1])
		m.I, m.J = int(n), int(n+1)
	}
	if endGripped {
		m := member(w.mm[to-1], s.lengthMM)
		m.I = int(to - 1)
		w.gripAt(m, i, 1)
	}
}

// gripAt holds an end of a timber's member by the joint with which it enters another.
func (w *work) gripAt(m *statics.Member, i, end int) {
	index := int(w.grip[i][end])
	j := &w.b.joints[index]
	receiver := w.b.sticks[j.receiving].first + j.received
	node := int(w.node[receiver])
	arm := geom.Sub(j.at, w.m.Nodes[node].At)
	grip, tied := j.grips[w.pegged(index)], w.waits(j)
	if tied {
		grip = statics.Grip{}
		w.tied = append(w.tied, i)
	}
	if end == 0 {
		m.I, m.ArmI, m.GripI = node, arm, grip
	} else {
		m.J, m.ArmJ, m.GripJ = node, arm, grip
	}
	w.out.Joints = append(w.out.Joints, JointAt{Joint: index, Member: len(w.m.Members) - 1, AtJ: end == 1, Link: -1, Tied: tied})
}

// waits reports whether the entering stick of a joint hangs on it alone, tied up.
func (w *work) waits(j *joint) bool { return w.b.sticks[j.entering].waits && w.degree[j.entering] == 1 }

func (w *work) pegged(j int) int {
	if j < len(w.s.Pegged) && w.s.Pegged[j] {
		return 1
	}
	return 0
}

// links makes the joints that are no grip: along a stick, or at an end that has a node of its own.
func (w *work) links() {
	for _, index := range w.closed {
		j := &w.b.joints[index]
		if j.receiving < 0 {
			continue
		}
		e := &w.b.sticks[j.entering]
		carried := j.carried
		if j.end != joinery.Along {
			end := int(j.end - joinery.AtStart)
			if w.how[j.entering][end] == inGrip {
				continue
			}
			carried = w.endStation(j.entering, end) - e.first
		}
		w.m.Links = append(w.m.Links, statics.Link{
			Name: j.name, I: int(w.node[w.b.sticks[j.receiving].first+j.received]), J: int(w.node[e.first+carried]),
			At: j.at, Axes: j.bond.axes, K: j.bond.k, Pull: j.bond.pull[w.pegged(index)],
		})
		w.out.Joints = append(w.out.Joints, JointAt{Joint: index, Member: -1, Link: len(w.m.Links) - 1})
	}
}
