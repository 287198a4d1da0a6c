package interlock

// PressPhase is where a button stands between two deliberate presses.
type PressPhase uint8

const (
	Unseen  PressPhase = iota // no valid 0 seen yet: whatever is down may be stuck
	Idle                      // released, ready
	Pressed                   // down, and everything was right so far
	Spoiled                   // down or unclear, and does not count until a valid 0
	Given                     // a whole press has just been seen
)

var pressNames = [...]string{"unseen", "idle", "pressed", "spoiled", "given"}

func (p PressPhase) String() string { return pressNames[p] }

// Button is one button as one output or vessel sees it.
type Button struct {
	Phase    PressPhase
	Held     Scans // scans at 1 in this press
	Released bool  // the first of the two closing zeros was seen
}

// Spoil says why a press did not count.
type Spoil uint8

const (
	NotSpoiled Spoil = iota
	TooEarly         // pressed before all conditions were true
	Fell             // a condition went away during the press
	NoWord           // the input became unknown during the press
	TooLong
	TooShort
	Bounced // pressed again before two zeros were seen
	Stuck   // down since power-up
	Spoils  = iota
)

// spoilTexts are kept in records: they are not reworded.
var spoilTexts = [Spoils]string{
	NotSpoiled: "counts",
	TooEarly:   "pressed before all conditions were true",
	Fell:       "a condition went away during the press",
	NoWord:     "the input went unknown during the press",
	TooLong:    "held for too long",
	TooShort:   "too short for a deliberate press",
	Bounced:    "pressed again before it was seen released",
	Stuck:      "down since power-up",
}

func (s Spoil) String() string { return spoilTexts[s] }

// stepButton is one scan of a button. level is the value in effect, fresh says
// that it arrived in this scan, already that the conditions were true in the
// scan before, still that they are true now.
func stepButton(p Press, b Button, level Truth, fresh, already, still bool) (Button, Spoil) {
	switch b.Phase {
	case Pressed:
		return stepPressed(p, b, level, fresh, still)
	case Unseen, Spoiled:
		if level == False && fresh {
			return Button{Phase: Idle}, NotSpoiled
		}
		if b.Phase == Unseen && level == True && b.Held == 0 {
			return Button{Phase: Unseen, Held: 1}, Stuck // told once
		}
		return b, NotSpoiled
	}
	switch { // Idle, or Given one scan ago
	case level == False:
		return Button{Phase: Idle}, NotSpoiled
	case level == Unknown:
		// The next value that arrives may hide an edge.
		return Button{Phase: Spoiled}, NotSpoiled
	case !fresh: // a gap repeats the last value; at idle that was a 0
		return b, NotSpoiled
	case already && still:
		return Button{Phase: Pressed, Held: 1}, NotSpoiled
	}
	return Button{Phase: Spoiled}, TooEarly
}

func stepPressed(p Press, b Button, level Truth, fresh, still bool) (Button, Spoil) {
	spoiled := Button{Phase: Spoiled}
	switch {
	case !still:
		return spoiled, Fell
	case level == Unknown:
		return spoiled, NoWord
	case level == True && b.Released:
		return spoiled, Bounced
	case level == True:
		b.Held = b.Held.Next()
		if b.Held > p.Max {
			return spoiled, TooLong
		}
		return b, NotSpoiled
	case !fresh:
		return b, NotSpoiled
	case b.Held < p.Min:
		return spoiled, TooShort
	case b.Released:
		return Button{Phase: Given}, NotSpoiled
	}
	b.Released = true
	return b, NotSpoiled
}
