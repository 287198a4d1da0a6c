package trace

import "strconv"

// Diary counts everything in a recording that was not as it should be, and
// keeps the first of each kind with its place, so that nothing is skipped in
// silence.
type Diary struct {
	Troubles []Trouble `json:"troubles"`
}

// Trouble is one kind of it.
type Trouble struct {
	Kind  string  `json:"kind"`
	Count int     `json:"count"`
	First []Place `json:"first"`
	// Undecided says that what the logic saw cannot be told where this stands.
	Undecided bool `json:"undecided"`
	// Blind says that the whole recording cannot show what the logic saw.
	Blind   bool   `json:"blind"`
	Instead string `json:"instead,omitempty"`
}

// Place is where in the file, counted from 1; Column counts fields and is 0 for
// the whole line.
type Place struct {
	Line   int    `json:"line"`
	Column int    `json:"field,omitempty"`
	Text   string `json:"text,omitempty"`
}

func (p Place) String() string {
	text := "line " + strconv.Itoa(p.Line)
	if p.Column > 0 {
		text += " field " + strconv.Itoa(p.Column)
	}
	if p.Text != "" {
		text += " " + strconv.Quote(p.Text)
	}
	return text
}

// placesKept is how many of each kind are listed.
const placesKept = 5

// longestText is how much of a field is quoted.
const longestText = 40

// Kind describes a kind of trouble once.
type Kind struct {
	Text      string
	Undecided bool
	Blind     bool
	Instead   string
}

// Note counts one trouble.
func (d *Diary) Note(k *Kind, at Place) { d.NoteMany(k, 1, at) }

// NoteMany counts several at one place.
func (d *Diary) NoteMany(k *Kind, n int, at Place) {
	if len(at.Text) > longestText {
		at.Text = at.Text[:longestText] + "…"
	}
	for i := range d.Troubles {
		t := &d.Troubles[i]
		if t.Kind == k.Text {
			t.Count += n
			if len(t.First) < placesKept {
				t.First = append(t.First, at)
			}
			return
		}
	}
	d.Troubles = append(d.Troubles, Trouble{Kind: k.Text, Count: n, First: []Place{at}, Undecided: k.Undecided, Blind: k.Blind, Instead: k.Instead})
}

// Undecided reports whether anything in the diary keeps a replay from deciding.
func (d *Diary) Undecided() bool {
	for i := range d.Troubles {
		if d.Troubles[i].Undecided {
			return true
		}
	}
	return false
}

// Blind reports whether the whole recording cannot show what the logic saw.
func (d *Diary) Blind() bool {
	for i := range d.Troubles {
		if d.Troubles[i].Blind {
			return true
		}
	}
	return false
}

// Count is how often a kind was noted.
func (d *Diary) Count(k *Kind) int {
	for i := range d.Troubles {
		if d.Troubles[i].Kind == k.Text {
			return d.Troubles[i].Count
		}
	}
	return 0
}
