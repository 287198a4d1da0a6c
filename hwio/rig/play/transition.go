package play

// Transition is one change of a channel's phase or of an output's mode, as a run of the logic beside the unit makes it.
type Transition struct {
	Name string `json:"name"`
	From string `json:"from"`
	To   string `json:"to"`
}

// String is the transition for people; it is how sheets write it.
func (t Transition) String() string { return t.Name + ": " + t.From + " -> " + t.To }
