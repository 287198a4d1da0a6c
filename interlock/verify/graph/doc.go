// Package graph is all that can happen at a site, one scan at a time: the
// transitions that the tabulated parts can reach, an observer that notes which of
// them a run passes through, and a search for the shortest way there with what a
// bench can do.
package graph
