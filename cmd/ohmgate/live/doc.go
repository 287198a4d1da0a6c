// Package live turns a site's logic while people watch.
//
// Picture a strip-chart recorder with a hand on its drive: the paper runs at
// the true speed, faster, slower, one scan at a time or not at all; it can be
// wound back and run again, and it gives the same line again. Whoever looks at
// the paper never disturbs the pen.
//
// One goroutine turns the loop. It hands what happened to a second one, which
// makes it durable (the journal) and only then lets anybody see it.
package live
