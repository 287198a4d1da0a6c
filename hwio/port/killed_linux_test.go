package port

import (
	"bufio"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

const holderVariable = "OHMGATE_TEST_HOLDS_PORT"

// TestHolderProcess is no test of its own: TestKilledHolderLetsGo runs it in another process, which opens the port, says
// so, and waits to be killed.
func TestHolderProcess(t *testing.T) {
	path := os.Getenv(holderVariable)
	if path == "" {
		t.Skip("only runs as a child of TestKilledHolderLetsGo")
	}
	_, err := Open(path, Settings{})
	require.NoError(t, err)
	_, _ = os.Stdout.WriteString("\nholding\n")
	select {}
}

// TestKilledHolderLetsGo: kill -9 leaves no lock behind that somebody would have to remove by hand.
func TestKilledHolderLetsGo(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	holder := exec.Command(os.Args[0], "-test.run", "^TestHolderProcess$")
	holder.Env = append(os.Environ(), holderVariable+"="+f.terminal.Device())
	output, err := holder.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, holder.Start())
	lines := bufio.NewScanner(output)
	holding := false
	for !holding && lines.Scan() {
		holding = lines.Text() == "holding"
	}
	require.True(t, holding)
	_, err = Open(f.terminal.Device(), Settings{})
	require.ErrorIs(t, err, ErrInUse)
	require.NoError(t, holder.Process.Kill())
	_ = holder.Wait()
	line, err := Open(f.terminal.Device(), Settings{})
	require.NoError(t, err)
	require.NoError(t, line.Halt())
}
