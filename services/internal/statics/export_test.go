package statics

// TakeTheLongWay makes a Solver go the full iteration from the first round on.
func (s *Solver) TakeTheLongWay() { s.long = true }
