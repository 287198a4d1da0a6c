// Package web lets people see a session through HTTP.
//
// Picture a window in a control-room wall: anybody may look, nobody reaches
// through it unless the house said so, and a crowd in front of it does not slow
// down what happens behind. Loopback and read-only by default; a token for
// everybody further away; limits on clients, bodies, headers and slow readers.
package web
