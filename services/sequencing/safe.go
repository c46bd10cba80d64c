package sequencing

import (
	"context"
	"slices"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// mostSearch is the most steps that a request may ask of a search.
const mostSearch = 1_000_000

// MakeSafe finds the fewest braces that make safe what stands, and sends each better answer as it is found.
func (s *Service) MakeSafe(req *sequencingv1.MakeSafeRequest, stream grpc.ServerStreamingServer[sequencingv1.MakeSafeAnswer]) error {
	ctx := stream.Context()
	in, err := s.site(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return err
	}
	problem, err := s.safeProblem(ctx, in, req)
	if err != nil {
		return err
	}
	sender := newSender(stream, in.from)
	key := compute.Key("safe", in.key, in.rules, in.stock, req)
	all, err := compute.Do(ctx, s.pool, s.safe, key, func(ctx context.Context) ([]*sequencingv1.MakeSafeAnswer, error) {
		return in.makeSafe(ctx, problem, int(req.GetStepCount()), sender.offer)
	})
	sender.end()
	if err != nil {
		return refused(err)
	}
	return sender.rest(all)
}

// safeProblem reads the problem of a request.
func (s *Service) safeProblem(ctx context.Context, in *site, req *sequencingv1.MakeSafeRequest) (makesafe.Problem, error) {
	moves, err := s.moves(ctx, in, true)
	locked := fault.HasReason(err, ReasonLocked)
	if err != nil && (!locked || len(req.GetStanding()) == 0) {
		return makesafe.Problem{}, err
	}
	rules := rulesOf(in.rules)
	r := reader{f: in.frame}
	stock := in.stockWith(req.GetLumber())
	if len(req.GetLumber()) > 0 {
		r.boards(req.GetLumber(), stock)
	}
	state := standing.Situation{Standing: r.standing(req.GetStanding(), req.GetAfterMove(), moves)}
	state.Pegged = r.pegged("unpegged", req.GetUnpegged())
	state.Braces = r.braces("braces", req.GetBraces(), in.allBoards(stock), state.Standing)
	state.GustMPS = r.gust("gust_m_per_s", req.GustMPerS, rules.NightGustMPS)
	r.within("step_count", float64(req.GetStepCount()), 0, mostSearch, "steps")
	if err := r.err(); err != nil {
		return makesafe.Problem{}, err
	}
	p := makesafe.Problem{Frame: in.frame, State: state, Rules: rules, Stock: stock, Site: in.deck()}
	if !locked {
		p.Coming = coming(makesafe.Moves(in.raising, in.frame, rules.DayHours), state.Standing)
	}
	return p, nil
}

// coming are the moves that bring a piece which does not stand yet.
func coming(moves []makesafe.Move, standing []int) []makesafe.Move {
	return slices.DeleteFunc(slices.Clone(moves), func(m makesafe.Move) bool {
		return !slices.ContainsFunc(m.Pieces, func(p int) bool {
			_, stands := slices.BinarySearch(standing, p)
			return !stands
		})
	})
}

// makeSafe searches, offers each better answer, and gives all of them with the final one last.
func (in *site) makeSafe(ctx context.Context, p makesafe.Problem, steps int, offer func(*sequencingv1.MakeSafeAnswer)) ([]*sequencingv1.MakeSafeAnswer, error) {
	limited, cancel := compute.Within(ctx, searchTime)
	defer cancel()
	var answers []*sequencingv1.MakeSafeAnswer
	best, err := makesafe.Solve(limited, p, makesafe.Budget{Steps: steps}, func(better makesafe.Plan) {
		answer := in.safePB(&better, p.State)
		answers = append(answers, answer)
		offer(answer)
	})
	if err != nil {
		return nil, err
	}
	final := in.safePB(&best, p.State)
	final.Final, final.EndedBy = true, best.Ended
	final.Basis, final.Cautions = in.standBasis(best.Add), in.standCautions()
	return append(answers, final), nil
}

// safePB is a plan as an answer that is not the last.
func (in *site) safePB(p *makesafe.Plan, state standing.Situation) *sequencingv1.MakeSafeAnswer {
	on := slices.Concat(state.Braces, p.Add)
	return &sequencingv1.MakeSafeAnswer{
		Safe: p.Safe, Refusal: p.Refusal, Add: placedPBs(p.Add), Cuts: cutsPB(p.Cuts), LeastCount: int32(p.Least),
		Verdict: verdictPB(p.Verdict, stateUses, state.GustMPS, on), KnockedOut: knockedPB(p.Knocked, rulesOf(in.rules).LowGustMPS, on),
		Before: verdictPB(p.Before, besideUses, state.GustMPS, state.Braces), Cautions: in.standCautions()[:1],
	}
}

// sender sends answers in order while a search goes on, without letting a slow reader hold the search up.
type sender struct {
	stream grpc.ServerStreamingServer[sequencingv1.MakeSafeAnswer]
	from   *sheetv1.ComputedFrom

	mu      sync.Mutex
	waiting []*sequencingv1.MakeSafeAnswer
	wake    chan struct{}
	stop    chan struct{}
	done    chan struct{}

	// Read after done is closed.
	sent int
	err  error
}

func newSender(stream grpc.ServerStreamingServer[sequencingv1.MakeSafeAnswer], from *sheetv1.ComputedFrom) *sender {
	s := &sender{stream: stream, from: from, wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	go s.run()
	return s
}

// offer hands an answer over. It may be called after the end, by a search that goes on for others.
func (s *sender) offer(a *sequencingv1.MakeSafeAnswer) {
	s.mu.Lock()
	s.waiting = append(s.waiting, a)
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *sender) run() {
	defer close(s.done)
	for {
		select {
		case <-s.stop:
			return
		case <-s.stream.Context().Done():
			return
		case <-s.wake:
		}
		s.mu.Lock()
		batch := s.waiting
		s.waiting = nil
		s.mu.Unlock()
		for _, a := range batch {
			if s.err = s.send(a); s.err != nil {
				return
			}
			s.sent++
		}
	}
}

// end stops sending what is offered.
func (s *sender) end() {
	close(s.stop)
	<-s.done
}

// rest sends those of all answers that were not sent yet: all of a kept answer, mostly the last of a new one.
func (s *sender) rest(all []*sequencingv1.MakeSafeAnswer) error {
	if s.err != nil {
		return s.err
	}
	for _, a := range all[min(s.sent, len(all)):] {
		if err := s.send(a); err != nil {
			return err
		}
	}
	return nil
}

// send sends an answer as one of the caller's: answers are shared, and what they were computed from is not.
func (s *sender) send(a *sequencingv1.MakeSafeAnswer) error {
	own := proto.CloneOf(a)
	own.ComputedFrom = s.from
	return s.stream.Send(own)
}
