// Package verify searches what the logic can do: every state, under every input.
//
// Picture a very patient commissioning engineer who tries everything: every order
// of events, every reading at every moment, every button at the wrong time, the
// supply pulled in between; who writes down every state that the interlock can
// be in and looks, in each, whether one of the promises is broken. What can not
// be tried one by one, because a wait lasts for minutes, is first shown to be a
// mere count; then only its ends matter.
//
// # The model
//
// The logic is taken apart where its own functions end. A ChannelTable holds every
// state that one channel can reach and every step between them. A Stem holds
// everything that hangs on that channel (the output with its buttons, delays and
// confirmation; or the output in brief with a vessel, its wait and its streams):
// its rows, and for each letter that a channel can show the rows that can follow.
// A Letter is all that the rest sees of a channel: how fit it is, and whether a
// parted connection reads good again. A Product is both together, one row of bits
// for each state of the rest, searched breadth first with word operations.
// Emitters and the symbolic engine start from these two tables.
//
// # What is concrete and what is free
//
// One channel at a time is in full detail. The other causes of the permissive are
// free in every scan: they are replaced by every function of the one channel that
// they can leave of the expression. Binary inputs are free in every scan, but for
// the reset button, whose last value is remembered, because a gap repeats it. In
// the first kind of search the output's memory is complete and vessels and flow
// are free; in the second the charge memory, the streams and the actuator's
// reports are complete and the buttons are free. Free means: more than can
// happen, never less. So "never" and upper bounds are shown for the real thing,
// and a run is shown to people only after the real Step on the whole site has
// repeated it.
//
// # Counters
//
// A counter is cut into cells where the logic compares it. The first and the last
// value of a cell stand for all. A Lemma checks, for the real length and value by
// value, that this is so and after how many scans the counter takes effect. No
// constant is ever shrunk.
//
// # Runs
//
// What is called violated has a run of the real Step on the whole site wherever
// one is found. A falsifier lets things go wrong and stop to; distances, the search run
// backwards from what it found, tells it where to go on; an observer judges every
// scan by the words of the properties, with an account of its own of every channel,
// wait and button. The run is then made smaller, replayed after every change, until
// nothing that goes wrong can be left out. What a search has met and no run shows is
// "not shown", told as the search's own shortest run.
//
// # Why believe it
//
// The tables stand between the proof and the code, so an audit compares tabulated
// steps with the whole Step; long random runs of the real site are checked to stay
// within what was searched; a complete search is checked to be closed; and the
// self-check plants mistakes in the logic, and in the search, and shows that each
// is reached.
package verify
