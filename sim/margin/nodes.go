package margin

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
)

// Roles of a node.
const (
	RoleVessel = "vessel" // what the stream charges
	RolePart   = "part"   // a part of it with a bond of its own
	RoleSender = "sender" // what the stream flows out of, charged oppositely
)

// node is one conductive thing under one stream.
type node struct {
	name, role string
	vessel     *site.Vessel // itself, or what the part belongs to
	part       *site.Part   // nil for a vessel
	stream     *site.Stream
	bond       interlock.Permissive // empty: no channel shows its earth
	channels   []int
}

// product is what the stream says that it carries.
func (nd *node) product() string { return nd.stream.Product }

// bench is one site ready to be calculated.
type bench struct {
	site    *site.Site
	config  *interlock.Config
	timings []site.Timings
	cache   outcomes
	brief   bool // the answers alone: no break-evens, no alternatives
}

// nodes lists what every stream charges, in the order of the file: vessels,
// their parts, senders.
func (b *bench) nodes() []*node {
	var list []*node
	for i := range b.site.Streams {
		st := &b.site.Streams[i]
		for _, name := range st.Charges {
			list = append(list, b.vesselNodes(st, name, RoleVessel)...)
		}
		if st.Sender == "" || slices.Contains(st.Charges, st.Sender) {
			continue // the same current either way: one line is enough
		}
		if p := b.site.PartIndex(st.Sender); p >= 0 {
			if nd := b.partNode(st, &b.site.Parts[p]); nd != nil {
				nd.role = RoleSender
				list = append(list, nd)
			}
			continue
		}
		list = append(list, b.vesselNodes(st, st.Sender, RoleSender)...)
	}
	return list
}

func (b *bench) vesselNodes(st *site.Stream, name, role string) []*node {
	v := b.site.VesselIndex(name)
	if v < 0 {
		return nil
	}
	vessel := &b.site.Vessels[v]
	nd := &node{name: name, role: role, vessel: vessel, stream: st, bond: b.config.Vessels[v].BondedBy}
	causes := nd.bond.Causes()
	causes.Each(func(cause int) { nd.channels = append(nd.channels, cause) })
	list := []*node{nd}
	for p := range b.site.Parts {
		part := &b.site.Parts[p]
		if part.Of != name || part.Name == st.Sender {
			continue
		}
		if nd := b.partNode(st, part); nd != nil {
			list = append(list, nd)
		}
	}
	return list
}

// partNode is a part that can float by itself. One that no channel monitors and
// whose capacitance nobody knows is no node: it is told in Unmonitored.
func (b *bench) partNode(st *site.Stream, part *site.Part) *node {
	v := b.site.VesselIndex(part.Of)
	if v < 0 {
		return nil
	}
	nd := &node{name: part.Name, role: RolePart, vessel: &b.site.Vessels[v], part: part, stream: st}
	for c := range b.site.Channels {
		if b.site.Channels[c].Name == part.Channel || b.site.Channels[c].Part == part.Name {
			nd.channels = append(nd.channels, c)
		}
	}
	if len(nd.channels) == 0 && !part.Capacitance.Set {
		return nil
	}
	nd.bond = allOf(nd.channels)
	return nd
}

// allOf is the AND of causes.
func allOf(causes []int) interlock.Permissive {
	var p interlock.Permissive
	var args []int
	for _, cause := range causes {
		args = append(args, len(p))
		p = append(p, interlock.Node{Op: interlock.OpCause, Cause: cause})
	}
	if len(causes) > 1 {
		p = append(p, interlock.Node{Op: interlock.OpAnd, Args: args})
	}
	return p
}

// Unmonitored is a part that rests on inspection alone.
type Unmonitored struct {
	Part   string `json:"part"`
	Of     string `json:"of"`
	Bonded string `json:"bonded_by"`
	Floats string `json:"floats,omitempty"`
}

func (b *bench) unmonitored() []Unmonitored {
	list := []Unmonitored{}
	for i := range b.site.Parts {
		p := &b.site.Parts[i]
		watched := p.Channel != ""
		for c := range b.site.Channels {
			watched = watched || b.site.Channels[c].Part == p.Name
		}
		if !watched {
			list = append(list, Unmonitored{p.Name, p.Of, p.BondedBy, p.Floats})
		}
	}
	return list
}
