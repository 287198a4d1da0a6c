// Package search goes through the product of a channel's table and its stem,
// breadth first and one row of bits at a time, forwards for what can be reached
// and the shortest run to it, and backwards for what leads to it.
package search
