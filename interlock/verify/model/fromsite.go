package model

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// FromSite is the model of a site file.
func FromSite(s *site.Site) (*Model, error) {
	config, problems := s.Logic()
	if problems != nil {
		return nil, problems
	}
	m := &Model{Site: s.Name, Hash: s.Hash, Config: config, Names: Names(s.Names()), PeriodMin: s.Period.Min, PeriodMax: s.Period.Max, Poll: s.Poll}
	for i := range s.Channels {
		m.Aperture = append(m.Aperture, s.Channels[i].Aperture)
		m.EarthPath = append(m.EarthPath, s.Channels[i].Measures == "earth-path")
		m.Slow = append(m.Slow, s.Channels[i].ResponseTime > 0)
	}
	for i := range s.Outputs {
		m.OutputDelay = append(m.OutputDelay, time.Duration(s.Outputs[i].OutputDelay.Hi*float64(time.Second)))
	}
	for i := range s.Properties {
		own, err := m.property(s, &s.Properties[i])
		if err != nil {
			return nil, err
		}
		m.Own = append(m.Own, own)
	}
	return m, nil
}

// property turns one property of the file into one to verify.
func (m *Model) property(s *site.Site, p *site.Property) (Own, error) {
	path := "properties." + p.Name
	at := s.At(path)
	wrong := func(text, instead string) error {
		return site.Problems{{File: s.File, Line: at.Line, Column: at.Column, Text: "property " + p.Name + ": " + text, Instead: instead}}
	}
	own := Own{Name: p.Name, Title: titleOf(p), Kind: p.Kind, Output: Index(m.Names.Outputs, p.Output), Time: p.Time, Channel: Index(m.Names.Channels, p.Channel), Line: at.Line}
	var err error
	if p.When != "" {
		if own.When, err = s.ParseProperty(p.When); err != nil {
			return own, wrong(err.Error(), "correct the expression")
		}
	}
	if p.Then != "" {
		if own.Then, err = s.ParseProperty(p.Then); err != nil {
			return own, wrong(err.Error(), "correct the expression")
		}
	}
	switch {
	case p.Kind == "within" && (own.Output < 0 || p.When == "" || p.Time <= 0):
		return own, wrong("within needs output, when and time", "write {kind: within, output: pump, when: NOT bond_1, time: 300 ms}")
	case p.Kind == "never" && p.When == "":
		return own, wrong("never needs when", "write {kind: never, output: pump, when: NOT bond_1}")
	case p.Kind == "until" && (own.Output < 0 || p.When == "" || p.Then == ""):
		return own, wrong("until needs output, when and then", "write {kind: until, output: pump, when: NOT bond_1, then: reset_1}")
	case p.Kind == "tolerates" && (own.Channel < 0 || p.Class == "" || p.Time <= 0 && p.Share == ""):
		return own, wrong("tolerates needs channel, class, and time or share", "write {kind: tolerates, channel: bond_1, class: high, time: 50 ms}")
	}
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if class.String() == p.Class {
			own.Class = class
		}
	}
	if p.Share != "" {
		if own.Share, err = shareOf(p.Share); err != nil {
			return own, wrong(err.Error(), "write share: 1 in 5")
		}
	}
	return own, nil
}

// titleOf is a property's own title, or what it asks in few words.
func titleOf(p *site.Property) string {
	switch {
	case p.Title != "":
		return p.Title
	case p.Kind == "within":
		return fmt.Sprintf("within %s of %s", quantity.Duration(p.Time), p.When)
	case p.Kind == "never":
		return "never while " + p.When
	case p.Kind == "until":
		return fmt.Sprintf("from %s until %s", p.When, p.Then)
	case p.Share != "":
		return fmt.Sprintf("tolerates %s of class %s on %s", p.Share, p.Class, p.Channel)
	}
	return fmt.Sprintf("tolerates %s of class %s on %s", quantity.Duration(p.Time), p.Class, p.Channel)
}

func shareOf(text string) (share [2]uint64, err error) {
	parts := strings.Fields(strings.ReplaceAll(strings.ReplaceAll(text, "/", " "), "in", " "))
	if len(parts) != 2 {
		return share, fmt.Errorf("cannot read the share %q", text)
	}
	for i, part := range parts {
		if share[i], err = strconv.ParseUint(part, 10, 32); err != nil {
			return share, fmt.Errorf("cannot read the share %q", text)
		}
	}
	if share[0] == 0 || share[0] > share[1] {
		return share, fmt.Errorf("the share %q is not between none and all", text)
	}
	return share, nil
}

func Index(list []string, name string) int {
	for i, have := range list {
		if have == name {
			return i
		}
	}
	return -1
}
