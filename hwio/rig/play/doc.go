// Package play is one run on the bench. Either the program plays the plant to a unit under test, or its own logic stands in
// for the unit, or it only listens.
//
// Think of a prompter who reads the play aloud to a timetable and notes when the actor moved; who was late is judged by
// somebody else.
//
//	stimulate.go  shows the unit what the logic beside it is shown, and polls the unit's contacts
//	glitch.go     steps a decade under the unit's eyes
//	standin.go    real readings in, this logic drives the relays; or only listens
//
// Both turn the logic through interlock/loop, so that it is the logic that is verified and simulated.
package play
