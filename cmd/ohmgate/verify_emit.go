package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"ohmgate/interlock/emit/opinion"
	"ohmgate/interlock/verify"
)

// secondOptions is what asks for another engine: somebody else's, by a printed
// model, or the joint one.
type secondOptions struct {
	emit    string
	channel string
	joint   bool
}

func (o *secondOptions) flags(flags *pflag.FlagSet) {
	flags.StringVar(&o.emit, "emit", "", "print the model of one output and channel for another checker instead: promela or murphi")
	flags.StringVar(&o.channel, "channel", "", "with --emit: the `channel` in full detail")
	flags.BoolVar(&o.joint, "joint", false, "search all channels of an output in full detail at once instead")
}

// second says whether another engine is wanted, and runs it.
func (o *verifyOptions) second(out, errs io.Writer, m *verify.Model) (bool, error) {
	switch {
	case o.emit != "" && o.joint:
		return true, failed(exitInput, "--emit and --joint are two different things; write one of them")
	case o.emit != "":
		return true, emitModel(out, m, o)
	case o.channel != "":
		return true, failed(exitInput, "--channel belongs to --emit; write --emit promela --output OUTPUT --channel CHANNEL")
	case o.joint:
		return true, jointly(out, errs, m, o)
	}
	return false, nil
}

// emitModel prints one product of the search plan.
func emitModel(out io.Writer, m *verify.Model, o *verifyOptions) error {
	if o.emit != "promela" && o.emit != "murphi" {
		return failed(exitInput, "--emit %s: no such language; write promela or murphi", o.emit)
	}
	piece, err := o.piece(m)
	if err != nil {
		return err
	}
	properties, err := o.emitted()
	if err != nil {
		return err
	}
	source, err := opinion.Restate(piece, properties...)
	if err != nil {
		return failed(exitInput, "%v", err)
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

// emitted are the properties that the printed model demands.
func (o *verifyOptions) emitted() ([]int, error) {
	if len(o.properties) == 0 {
		return opinion.Properties, nil
	}
	var list []int
	for _, name := range o.properties {
		n, err := strconv.Atoi(name)
		if err != nil || !opinion.Judges(n) {
			return nil, failed(exitInput, "--property %s: not in the printed model; write some of %s", name, strings.Trim(fmt.Sprint(opinion.Properties), "[]"))
		}
		list = append(list, n)
	}
	return list, nil
}

// piece is the one product that --output and --channel name.
func (o *verifyOptions) piece(m *verify.Model) (*verify.Piece, error) {
	if len(o.outputs) != 1 {
		return nil, failed(exitInput, "--emit prints the model of one output; write --output with one of %s", strings.Join(m.Names.Outputs, ", "))
	}
	output := indexOf(m.Names.Outputs, o.outputs[0])
	var channels []string
	causes := m.Config.Outputs[output].Permissive.Causes()
	causes.Each(func(n int) {
		if n < len(m.Names.Channels) {
			channels = append(channels, m.Names.Channels[n])
		}
	})
	switch {
	case len(channels) == 0:
		return nil, failed(exitInput, "--output %s: no channel is in its permissive, so there is no model to print", o.outputs[0])
	case o.channel == "" && len(channels) == 1:
		o.channel = channels[0]
	case o.channel == "" || !isOneOf(channels, o.channel):
		return nil, failed(exitInput, "--emit needs the channel that is to be in full detail; write --channel with one of %s", strings.Join(channels, ", "))
	}
	return verify.PieceOf(m, verify.Options{}, output, indexOf(m.Names.Channels, o.channel))
}

func indexOf(list []string, name string) int {
	for i, have := range list {
		if have == name {
			return i
		}
	}
	return -1
}
