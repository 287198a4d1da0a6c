package scpi_test

import (
	"os"
	"testing"

	"ohmgate/hwio/internal/pseudo"
)

func TestMain(m *testing.M) { os.Exit(pseudo.Main(m.Run)) }
