package record

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
)

// capturePath is a real recording of a 16-output module at 19200 8E1; source: the sigrok project's public example
// captures (uart/modbus_rtu). It is used where it lies and is not part of this project.
const capturePath = "../../../shared/data/modbus-rtu-16-outputs.csv"

func openCapture(t *testing.T) []Byte {
	file, err := os.Open(capturePath)
	if os.IsNotExist(err) {
		t.Skip("the recording ../shared/data/modbus-rtu-16-outputs.csv is not there")
	}
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	bytes, err := ReadCapture("modbus-rtu-16-outputs.csv", file)
	require.NoError(t, err)
	return bytes
}

func TestX(t *testing.T) {
	bytes := openCapture(t)
	frames := Cut(bytes, 19200)
	ex, odd := Pair(frames, "master")
	t.Log(len(bytes), len(frames), len(ex), len(odd))
	for _, e := range ex {
		t.Logf("%v % X | %v % X tr %v gap %v", e.Request.Function, e.Question.Bytes, e.Answered, e.Answer.Bytes, e.Turnaround, e.Gap)
	}
	for _, o := range odd {
		t.Logf("%v %s % X", o.Err, o.Frame.Line, o.Frame.Bytes)
	}
	var b strings.Builder
	WriteTable(&b, Table(ex))
	t.Log("\n" + b.String())
	_ = time.Second
	_ = modbus.RTU
}
