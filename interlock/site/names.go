package site

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"ohmgate/interlock"
)

// namePattern is what a name looks like: a word that every target language,
// column and file name can hold.
const namePattern = `^[a-z][a-z0-9_]{0,39}$`

var (
	nameShape = regexp.MustCompile(namePattern)
	voteShape = regexp.MustCompile(`(?i)^[0-9]+oo[0-9]+$`)
	keywords  = []string{"and", "or", "xor", "not", "mod", "true", "false", "unknown"}
)

// badName says why a text cannot be a name; empty if it can.
func badName(name string) (text, instead string) {
	lower := strings.ToLower(name)
	switch {
	case slices.Contains(keywords, lower):
		return fmt.Sprintf("%q is a word of the expressions, not a name", name), "choose another name, such as " + lower + "_1"
	case voteShape.MatchString(name):
		return fmt.Sprintf("%q is a vote in expressions, not a name", name), "choose another name, such as vote_" + lower
	case nameShape.MatchString(name):
		return "", ""
	case nameShape.MatchString(lower):
		return fmt.Sprintf("%q is not in small letters", name), "write " + lower
	}
	return fmt.Sprintf("%q is not a name", cut(name)), "use small letters, digits and _, a letter first, 40 at most"
}

// Names lists what a site calls its parts, in the order of the file.
type Names struct {
	Channels, Inputs, Outputs, Vessels, Streams, Bypasses []string
}

// Names lists the names of all parts.
func (s *Site) Names() Names {
	var n Names
	for i := range s.Channels {
		n.Channels = append(n.Channels, s.Channels[i].Name)
	}
	for i := range s.Inputs {
		n.Inputs = append(n.Inputs, s.Inputs[i].Name)
	}
	for i := range s.Outputs {
		n.Outputs = append(n.Outputs, s.Outputs[i].Name)
	}
	for i := range s.Vessels {
		n.Vessels = append(n.Vessels, s.Vessels[i].Name)
	}
	for i := range s.Streams {
		n.Streams = append(n.Streams, s.Streams[i].Name)
	}
	for i := range s.Bypasses {
		n.Bypasses = append(n.Bypasses, s.Bypasses[i].Name)
	}
	return n
}

// hash identifies a file's content.
func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// index finds a name in a list of things; -1 if it is not there.
func index[T any](list []T, name string, of func(*T) string) int {
	for i := range list {
		if of(&list[i]) == name {
			return i
		}
	}
	return -1
}

// ChannelIndex is the number of a channel by name, -1 if there is none. The
// other indexes work alike.
func (s *Site) ChannelIndex(name string) int {
	return index(s.Channels, name, func(c *Channel) string { return c.Name })
}

// InputIndex is the number of an input.
func (s *Site) InputIndex(name string) int {
	return index(s.Inputs, name, func(i *Input) string { return i.Name })
}

// OutputIndex is the number of an output.
func (s *Site) OutputIndex(name string) int {
	return index(s.Outputs, name, func(o *Output) string { return o.Name })
}

// VesselIndex is the number of a vessel.
func (s *Site) VesselIndex(name string) int {
	return index(s.Vessels, name, func(v *Vessel) string { return v.Name })
}

// StreamIndex is the number of a stream.
func (s *Site) StreamIndex(name string) int {
	return index(s.Streams, name, func(v *Stream) string { return v.Name })
}

// BypassIndex is the number of a bypass.
func (s *Site) BypassIndex(name string) int {
	return index(s.Bypasses, name, func(b *Bypass) string { return b.Name })
}

// PartIndex is the number of a part.
func (s *Site) PartIndex(name string) int {
	return index(s.Parts, name, func(p *Part) string { return p.Name })
}

// Ref is an input as the logic names it: its number plus one, zero for none.
func (s *Site) Ref(input string) interlock.Ref { return interlock.Ref(s.InputIndex(input) + 1) }

// Causes is how many causes the site has: channels in the order of the file,
// then inputs.
func (s *Site) Causes() int { return len(s.Channels) + len(s.Inputs) }

// CauseIndex is the number of a cause by name, -1 if there is none.
func (s *Site) CauseIndex(name string) int {
	if i := s.ChannelIndex(name); i >= 0 {
		return i
	}
	if i := s.InputIndex(name); i >= 0 {
		return len(s.Channels) + i
	}
	return -1
}

// CauseName is the name of a cause, or, behind the causes, of an output: the
// numbers that ParseProperty gives. Empty if there is no such number.
func (s *Site) CauseName(cause int) string {
	switch {
	case cause < 0:
	case cause < len(s.Channels):
		return s.Channels[cause].Name
	case cause < s.Causes():
		return s.Inputs[cause-len(s.Channels)].Name
	case cause < s.Causes()+len(s.Outputs):
		return s.Outputs[cause-s.Causes()].Name
	}
	return ""
}

// VesselOf is the vessel that a channel's part is or belongs to; -1 if the part
// is unknown.
func (s *Site) VesselOf(c *Channel) int {
	if i := s.VesselIndex(c.Part); i >= 0 {
		return i
	}
	if i := s.PartIndex(c.Part); i >= 0 {
		return s.VesselIndex(s.Parts[i].Of)
	}
	return -1
}

// BondExpression is what shows the vessel's earth: what the file says, or else
// all channels of this part.
func (s *Site) BondExpression(v *Vessel) string {
	if v.BondedBy != "" {
		return v.BondedBy
	}
	var terms []string
	for i := range s.Channels {
		if s.Channels[i].Part == v.Name {
			terms = append(terms, s.Channels[i].Name)
		}
	}
	return strings.Join(terms, " AND ")
}
