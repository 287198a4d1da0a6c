package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
)

// everyVerb calls f with every verb and each of its parts.
func everyVerb(f func(*cobra.Command)) {
	var visit func(*cobra.Command)
	visit = func(c *cobra.Command) {
		f(c)
		for _, part := range c.Commands() {
			visit(part)
		}
	}
	visit(rootCommand())
}

// Help fits a terminal of 80 columns and carries the caution of the program.
func TestHelpFitsAPage(t *testing.T) {
	verbs := 0
	everyVerb(func(c *cobra.Command) {
		var text bytes.Buffer
		c.SetOut(&text)
		require.NoError(t, c.Help(), c.CommandPath())
		for _, line := range strings.Split(text.String(), "\n") {
			assert.LessOrEqual(t, len([]rune(line)), page.Width, "%s --help: %q", c.CommandPath(), line)
		}
		verbs++
	})
	assert.Greater(t, verbs, 9)
}

// A command line that no verb understands ends with 2 and says how it is
// written.
func TestWrongCommandLineGetsAdvice(t *testing.T) {
	everyVerb(func(c *cobra.Command) {
		for _, extra := range [][]string{{"--nope"}, {"a", "b", "c", "d", "e", "f", "g"}} {
			if extra[0] == "a" && strings.Contains(c.Use, "...") {
				continue // takes any number of files
			}
			root := rootCommand()
			root.SetArgs(append(strings.Fields(c.CommandPath())[1:], extra...))
			verb, err := root.ExecuteC()
			require.Error(t, err, c.CommandPath())
			var said bytes.Buffer
			assert.Equal(t, exitInput, report(&said, adviseOn(verb, err)), c.CommandPath())
			assert.Regexp(t, `write |--help|such as|: ohmgate `, said.String(), c.CommandPath())
		}
	})
}
