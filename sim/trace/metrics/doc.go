// Package metrics tells a run as metrics: live, through client_golang's own
// registry, and as an OpenMetrics file with simulated times. Both come from one
// table of families, so that the names are the same.
//
// Picture a counting board beside the plant: every lamp and counter on it can be
// read at any moment, and whoever films it can read the whole run off the film.
//
// A gauge that keeps its last value for ever would show a healthy resistance on
// a dead line. So a resistance is NaN as soon as it is stale, its age stands
// beside it, and whatever lasts only milliseconds is counted.
package metrics
