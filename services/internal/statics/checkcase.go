package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

func (s *Solver) checkCase(c *Case, i int) error {
	name, m := called(c.Name, "case", i), s.m
	bad := func(vs ...float64) bool {
		for _, v := range vs {
			if !(math.Abs(v) <= mostLoad) {
				return true
			}
		}
		return false
	}
	if g := c.Gravity; bad(g.X, g.Y, g.Z) || geom.Norm(g) > mostAcceleration {
		return wrong(name, "gravity of (%.3g, %.3g, %.3g) m/s² cannot be meant", g.X, g.Y, g.Z)
	}
	for _, f := range c.Nodal {
		if !m.isNode(f.Node) {
			return wrong(name, "a load is at node %d, but there are %d nodes", f.Node, len(m.Nodes))
		}
		if bad(f.F[:]...) {
			return wrong(name, "the load at %s is not finite or beyond %.0e N", m.nodeName(f.Node), mostLoad)
		}
	}
	for _, q := range c.Line {
		if q.Member < 0 || q.Member >= len(m.Members) {
			return wrong(name, "a line load is on member %d, but there are %d", q.Member, len(m.Members))
		}
		if bad(q.W.X, q.W.Y, q.W.Z) {
			return wrong(name, "the line load on %s is not finite or beyond %.0e N/m", m.memberName(q.Member), mostLoad)
		}
		l := s.elements[q.Member].l
		to := q.To
		if to == 0 {
			to = l
		}
		if !(q.From >= 0 && q.From < to && to <= l*(1+1e-9)) {
			return wrong(name, "the line load on %s runs from %.4g to %.4g m, but it is %.4g m long", m.memberName(q.Member), q.From, to, l)
		}
	}
	for _, q := range c.Point {
		if q.Member < 0 || q.Member >= len(m.Members) {
			return wrong(name, "a point load is on member %d, but there are %d", q.Member, len(m.Members))
		}
		e := &s.elements[q.Member]
		if bad(q.F.X, q.F.Y, q.F.Z, q.M.X, q.M.Y, q.M.Z) {
			return wrong(name, "the point load on %s is not finite or beyond %.0e N", m.memberName(q.Member), mostLoad)
		}
		if !(q.At >= 0 && q.At <= e.l*(1+1e-9)) {
			return wrong(name, "the point load on %s is at %.4g m, but it is %.4g m long", m.memberName(q.Member), q.At, e.l)
		}
		if x, _, _ := e.local(q.M); e.bar && math.Abs(x) > 1e-9*geom.Norm(q.M) {
			return wrong(name, "the moment on %s twists a bar, which carries none", m.memberName(q.Member))
		}
	}
	for _, p := range c.Prescribed {
		if err := s.checkPrescribed(p, name); err != nil {
			return err
		}
	}
	return nil
}

func (s *Solver) checkPrescribed(p Prescribed, name string) error {
	if !s.m.isNode(p.Node) || p.Freedom < UX || p.Freedom > RZ {
		return wrong(name, "a displacement is prescribed at node %d, freedom %d, which there is not", p.Node, p.Freedom)
	}
	if !(math.Abs(p.Value) <= mostShift) {
		return wrong(name, "the displacement prescribed at %s is not finite or beyond %v m", s.m.nodeName(p.Node), mostShift)
	}
	if s.owner[6*p.Node+int(p.Freedom)] < 0 {
		return wrong(name, "a displacement is prescribed at %s where no support holds it; fix that freedom", s.m.nodeName(p.Node))
	}
	return nil
}
