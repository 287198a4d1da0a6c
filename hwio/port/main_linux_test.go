package port

import (
	"os"
	"testing"

	"ohmgate/hwio/internal/pseudo"
)

func TestMain(m *testing.M) {
	if os.Getenv(holderVariable) != "" {
		os.Exit(m.Run()) // the child looks for locks where its parent does
	}
	os.Exit(pseudo.Main(m.Run))
}
