package sequencing

import (
	"fmt"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

func defaultRates() work.Rates { return work.Default() }

// workPB is a company's rates as a message, without an etag.
func workPB(r work.Rates) *sequencingv1.Work {
	w := &sequencingv1.Work{
		CarryPerPersonKg: r.CarryPerPersonKG, CrewCount: int32(r.CrewCount),
		TelehandlerKg: r.TelehandlerKG, TelehandlerReachMm: r.TelehandlerReachMM, GinPoleKg: r.GinPoleKG,
		MinutesPerBrace: r.BraceMinutes, MinutesPerJoint: r.JointMinutes, CraneSetUpMinutes: r.CraneSetUpMinutes,
	}
	for _, m := range work.Machines() {
		w.Rates = append(w.Rates, &sequencingv1.MoveRate{Machine: sequencingv1.Machine(m), Minutes: r.MoveMinutes[m]})
	}
	return w
}

// ratesOf are the rates of a message; of two lines for one machine the last counts.
func ratesOf(w *sequencingv1.Work) work.Rates {
	r := work.Rates{
		CarryPerPersonKG: w.GetCarryPerPersonKg(), CrewCount: int(w.GetCrewCount()),
		TelehandlerKG: w.GetTelehandlerKg(), TelehandlerReachMM: w.GetTelehandlerReachMm(), GinPoleKG: w.GetGinPoleKg(),
		BraceMinutes: w.GetMinutesPerBrace(), JointMinutes: w.GetMinutesPerJoint(), CraneSetUpMinutes: w.GetCraneSetUpMinutes(),
		MoveMinutes: map[work.Machine]float64{},
	}
	for _, rate := range w.GetRates() {
		r.MoveMinutes[work.Machine(rate.GetMachine())] = rate.GetMinutes()
	}
	return r
}

// checkWork finds every fault of rates that are put; paths begin with work.
func checkWork(w *sequencingv1.Work) error {
	if w == nil {
		return fault.Invalid("work", "is missing; send all rates")
	}
	var fields []fault.Field
	seen := map[sequencingv1.Machine]bool{}
	for i, rate := range w.GetRates() {
		path := fmt.Sprintf("work.rates[%d]", i)
		m := rate.GetMachine()
		switch {
		case !work.Machine(m).Known():
			fields = append(fields, fault.Field{Path: path + ".machine", Message: "has to be a crane, a telehandler, a gin pole or hands"})
		case seen[m]:
			fields = append(fields, fault.Field{Path: path + ".machine", Message: fmt.Sprintf("names the %s a second time; give one line for each machine", work.Machine(m))})
		}
		seen[m] = true
		if s := work.CheckMinutes(rate.GetMinutes()); s != "" {
			fields = append(fields, fault.Field{Path: path + ".minutes", Message: s})
		}
	}
	for _, f := range ratesOf(w).Check() {
		fields = append(fields, fault.Field{Path: "work." + f.Field, Message: f.Message})
	}
	if len(fields) > 0 {
		return fault.InvalidFields(fields)
	}
	return nil
}
