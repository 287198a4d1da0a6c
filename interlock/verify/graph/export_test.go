package graph

// Reword changes every text that transitions are told with, and puts them back.
func Reword(change func(string) string) (back func()) {
	wereKinds, wereWords := kinds, words
	for i := range kinds {
		kinds[i].text = change(kinds[i].text)
	}
	w := recordWords()
	for _, list := range [][]string{w.phases[:], w.news[:], w.modes[:], w.events[:], w.spoils[:]} {
		for i := range list {
			list[i] = change(list[i])
		}
	}
	for one, text := range w.reasons {
		w.reasons[one] = change(text)
	}
	for one, text := range w.unconfirmed {
		w.unconfirmed[one] = change(text)
	}
	w.not, w.and, w.fault = change(w.not), change(w.and), change(w.fault)
	words = w
	return func() { kinds, words = wereKinds, wereWords }
}
