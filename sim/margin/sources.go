package margin

import "ohmgate/interlock/site"

// Source is an ignition source that no bond of a vessel removes, and what the
// site says about it.
type Source struct {
	Key    string `json:"key"`
	Asks   string `json:"asks"`
	Answer string `json:"answer,omitempty"`
	Known  string `json:"known"` // a figure to judge the answer by
}

// asked are the questions, in the order of the site file's block.
var asked = []Source{
	{Key: "person", Asks: "charged people", Known: "1 µA at most; 0.1 GΩ to earth at most (ELS, NFPA 77: seen)"},
	{Key: "lining", Asks: "lined or plastic vessels", Known: "a bond of the shell does nothing for charge on the lining"},
	{Key: "isolated_liquid", Asks: "liquid without contact to earth", Known: "a node of its own: write it under parts with its capacitance"},
	{Key: "cone_discharge", Asks: "discharge over heaped powder", Known: "10..25 mJ at most (NFPA 77: seen); no bond prevents it"},
	{Key: "propagating_brush", Asks: "discharge over thin insulating layers", Known: "can reach joules; no bond prevents it (common practice)"},
	{Key: "hybrid", Asks: "vapour and dust together", Known: "the vapour's ignition energy counts (common practice)"},
	{Key: "hose", Asks: "hoses and their fittings", Known: "10 MΩ to earth from any part removes the hazard (NBS: seen)"},
}

// sources pairs each question with the site's answer.
func sources(s *site.Site) (list []Source, unanswered int) {
	for _, q := range asked {
		q.Answer = s.Ignition[q.Key]
		if q.Answer == "" {
			unanswered++
		}
		list = append(list, q)
	}
	return list, unanswered
}
