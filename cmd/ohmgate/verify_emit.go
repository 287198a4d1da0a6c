package main

import (
	"io"
	"strings"

	"ohmgate/interlock/emit/opinion"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// secondOptions is what asks for another engine: somebody else's, by a printed
// model, or the joint one.
type secondOptions struct {
	emit    string
	channel string
	vessel  string
	bypass  string
	bound   string
	joint   bool
}

func (o *secondOptions) flags() flags {
	return flags{
		{name: "emit", into: &o.emit, help: "print the model of one output and channel, or of one channel alone, for another checker instead: promela or murphi", words: languages},
		{name: "channel", into: &o.channel, help: "the `channel` in full detail; needed where there are several. Without --output: that channel alone, every counter exact, beside one --property of " + opinion.AloneStates()},
		{name: "bypass", into: &o.bypass, help: "without --output: this `bypass` and its key alone, beside property " + model.PropertyBypass.String()},
		{name: "bound", into: &o.bound, help: "with a channel or bypass alone: the `bound` to state instead of what verify finds, such as 25, \"19 high\" or \"1 in 5\""},
		{name: "vessel", into: &o.vessel, help: "the charge memory and the streams of this `vessel` instead of buttons and delays; with two channels --channel as well"},
		{name: "joint", into: &o.joint, help: "search all channels of an output in full detail at once instead"},
	}
}

// languages are those of other checkers.
var languages = []string{"promela", "murphi"}

// second says whether another engine is wanted, and runs it.
func (o *verifyOptions) second(out, errs io.Writer, m *model.Model) (bool, error) {
	switch {
	case o.emit != "":
		return true, emitModel(out, m, o)
	case o.joint:
		return true, jointly(out, errs, m, o)
	}
	return false, nil
}

// emitModel prints one product of the search plan, or one channel or bypass alone.
func emitModel(out io.Writer, m *model.Model, o *verifyOptions) error {
	if !isOneOf(languages, o.emit) {
		return failed(exitInput, "a model in %s: no such language; write promela or murphi", o.emit)
	}
	var properties []model.Property
	for _, name := range o.properties {
		n, err := model.ParseProperty(name)
		if err != nil {
			return failed(exitInput, "--property %s: the printed model knows default properties only; write a number", name)
		}
		properties = append(properties, n)
	}
	restate := o.restated
	switch {
	case o.bypass != "":
		restate = o.bypassAlone
	case len(o.outputs) == 0 && o.channel != "":
		restate = o.channelAlone
	}
	source, err := restate(m, properties)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	text := source.Promela()
	if o.emit == "murphi" {
		text = source.Murphi()
	}
	if _, err := out.Write(text); err != nil {
		return failed(exitLost, "%w", err)
	}
	return nil
}

// restated is the model of one output with one channel.
func (o *verifyOptions) restated(m *model.Model, properties []model.Property) (*opinion.Source, error) {
	piece, err := o.piece(m)
	if err != nil {
		return nil, err
	}
	if o.bound != "" {
		return nil, failed(exitInput, "--bound %q: the model of an output has no number; write --channel without --output, or leave --bound out", o.bound)
	}
	return opinion.Restate(piece, properties...)
}

// channelAlone is the model of one channel and one property of it.
func (o *verifyOptions) channelAlone(m *model.Model, properties []model.Property) (*opinion.Source, error) {
	channel := indexOf(m.Names.Channels, o.channel)
	switch {
	case channel < 0:
		return nil, failed(exitInput, "--channel %s: the site has no such channel; it has %s", o.channel, strings.Join(m.Names.Channels, ", "))
	case o.vessel != "":
		return nil, failed(exitInput, "--vessel %s: a channel alone charges nothing; write --output as well, or leave --vessel out", o.vessel)
	case len(properties) != 1:
		return nil, failed(exitInput, "--channel %s without --output is a channel beside one property; write --property with one of %s", o.channel, opinion.AloneStates())
	}
	bound, err := o.asked()
	if err != nil {
		return nil, err
	}
	a, err := verify.AloneOf(m, model.Options{}, channel)
	if err != nil {
		return nil, err
	}
	return opinion.RestateAlone(a, properties[0], bound)
}

// bypassAlone is the model of one bypass and its key.
func (o *verifyOptions) bypassAlone(m *model.Model, properties []model.Property) (*opinion.Source, error) {
	bypass := indexOf(m.Names.Bypasses, o.bypass)
	switch {
	case len(m.Names.Bypasses) == 0:
		return nil, failed(exitInput, "--bypass %s: the site has no bypass; leave --bypass out", o.bypass)
	case bypass < 0:
		return nil, failed(exitInput, "--bypass %s: the site has no such bypass; it has %s", o.bypass, strings.Join(m.Names.Bypasses, ", "))
	case len(o.outputs) > 0 || o.channel != "" || o.vessel != "":
		return nil, failed(exitInput, "--bypass %s is a model of its own; leave --output, --channel and --vessel out", o.bypass)
	case len(properties) != 1 || properties[0] != model.PropertyBypass:
		return nil, failed(exitInput, "--bypass %s is a bypass beside one property; write --property %s", o.bypass, model.PropertyBypass)
	}
	bound, err := o.asked()
	if err != nil {
		return nil, err
	}
	b := &m.Config.Bypasses[bypass]
	return opinion.RestateBypass(o.bypass, b, &m.Config.Inputs[b.Input-1], bound)
}

// asked is the bound that was asked for, if one was.
func (o *verifyOptions) asked() (*opinion.Bound, error) {
	if o.bound == "" {
		return nil, nil
	}
	b, err := opinion.BoundOf(o.bound)
	if err != nil {
		return nil, failed(exitInput, "--bound: %w", err)
	}
	return &b, nil
}

// piece is the one product that --output, --vessel and --channel name.
func (o *verifyOptions) piece(m *model.Model) (*verify.Piece, error) {
	if len(o.outputs) != 1 {
		return nil, failed(exitInput, "verify emit prints the model of one output; write --output with one of %s; or of one channel alone, --channel with one of %s", strings.Join(m.Names.Outputs, ", "), strings.Join(m.Names.Channels, ", "))
	}
	output := indexOf(m.Names.Outputs, o.outputs[0])
	vessel, err := o.charged(m, output)
	if err != nil {
		return nil, err
	}
	of, permissive := "--output "+o.outputs[0], m.Config.Outputs[output].Permissive
	if vessel >= 0 {
		of, permissive = "--vessel "+o.vessel, m.Config.Vessels[vessel].BondedBy
	}
	var channels []string
	causes := permissive.Causes()
	causes.Each(func(n int) {
		if n < len(m.Names.Channels) {
			channels = append(channels, m.Names.Channels[n])
		}
	})
	switch {
	case len(channels) == 0:
		return nil, failed(exitInput, "%s: it hangs on no channel, so there is no model to print", of)
	case o.channel == "" && len(channels) == 1:
		o.channel = channels[0]
	case o.channel == "" || !isOneOf(channels, o.channel):
		return nil, failed(exitInput, "%s: verify emit needs the channel that is to be in full detail; write --channel with one of %s", of, strings.Join(channels, ", "))
	}
	return verify.PieceOf(m, model.Options{}, output, indexOf(m.Names.Channels, o.channel), vessel)
}

// charged is the vessel that --vessel names, which the output must charge; below
// zero without one.
func (o *verifyOptions) charged(m *model.Model, output int) (int, error) {
	if o.vessel == "" {
		return -1, nil
	}
	var names []string
	for _, i := range m.Config.VesselsOf(output) {
		names = append(names, m.Names.Vessels[i])
	}
	switch {
	case len(names) == 0:
		return 0, failed(exitInput, "--vessel %s: %s charges no vessel; leave --vessel out", o.vessel, o.outputs[0])
	case !isOneOf(names, o.vessel):
		return 0, failed(exitInput, "--vessel %s: %s does not charge it; write one of %s", o.vessel, o.outputs[0], strings.Join(names, ", "))
	}
	return indexOf(m.Names.Vessels, o.vessel), nil
}

func indexOf(list []string, name string) int {
	for i, have := range list {
		if have == name {
			return i
		}
	}
	return -1
}
