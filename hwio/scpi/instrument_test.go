package scpi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var demoIdentity = Identity{"Quarry Road works", "decade and meter", "0", "1.0"}

func demo() *Instrument { return NewInstrument(demoIdentity, DefaultLimits, nil, nil) }

// golden is a dialogue that was seen in the tests of an open-source SCPI parser.
var golden = []struct{ send, want string }{
	{"*CLS", ""}, {"*ESE #H20", ""}, {"*ESE?", "32"}, {"*ESR?", "0"}, {"*OPC", ""}, {"*OPC?", "1"},
	{"*SRE #HFF", ""}, {"*SRE?", "255"}, {"*STB?", "0"}, {"*ESR?", "1"},
	{"ABCD", ""}, {"*STB?", "100"}, {"*ESR?", "32"}, {"*STB?", "68"}, {"*ESR?", "0"},
	{"SYST:ERR:COUNT?", "1"}, {"SYST:ERR?", `-113,"Undefined header"`}, {"SYST:ERR?", `0,"No error"`}, {"*STB?", "0"},
}

func TestGoldenDialogue(t *testing.T) {
	instrument := demo()
	for index, step := range golden {
		require.Equal(t, step.want, instrument.Message(step.send), "step %d: %s", index, step.send)
	}
	require.Empty(t, instrument.Message("IDN?"))
	require.Equal(t, `-113,"Undefined header"`, instrument.Message("SYST:ERR?"))
	require.Equal(t, demoIdentity.String(), instrument.Message("*IDN? 12"), "answered all the same")
	require.Equal(t, `-108,"Parameter not allowed"`, instrument.Message("SYSTem:ERRor:NEXT?"))
}

func TestInstrumentSteps(t *testing.T) {
	for name, steps := range map[string][]struct{ send, want string }{
		"power-on bit, then clear":    {{"*ESR?", "128"}, {"*ESR?", "0"}},
		"units and long forms":        {{"SOURCE:RESISTANCE 1.5 KOHM", ""}, {"RES?", "1500"}, {"sour:res 1MOHM", ""}, {"RES?", "1000000"}, {"RES 10", ""}, {":RES?", "10"}},
		"named values":                {{"RES MAX", ""}, {"RES?", "1000000"}, {"RES MIN;RES?", "0"}},
		"not a header in between":     {{"RESI 5", ""}, {"SYST:ERR?", `-113,"Undefined header"`}},
		"missing parameter":           {{"RES", ""}, {"SYST:ERR?", `-109,"Missing parameter"`}, {"*ESR?", "160"}},
		"out of range is execution":   {{"*CLS", ""}, {"RES -1", ""}, {"*ESR?", "16"}, {"SYST:ERR?", `-222,"Data out of range"`}, {"RES?", "0"}},
		"wrong type and suffix":       {{"RES ABC", ""}, {"SYST:ERR?", `-104,"Data type error"`}, {"RES 5 V", ""}, {"SYST:ERR?", `-131,"Invalid suffix"`}, {"*ESE 256", ""}, {"SYST:ERR?", `-222,"Data out of range"`}, {"*ESE #X1", ""}, {"SYST:ERR?", `-104,"Data type error"`}},
		"level of a compound message": {{"SYST:ERR:COUN?;NEXT?;:RES?", `0;0,"No error";0`}},
		"common commands keep level":  {{"SYST:ERR?;*OPC?;VERS?", `0,"No error";1;1999.0`}},
		"bases":                       {{"*ESE #B101;*ESE?", "5"}, {"*ESE #Q17;*ESE?", "15"}},
		"self-test and version":       {{"*TST?", "0"}, {"*WAI;*OPC?", "1"}, {"SYST:VERS?", "1999.0"}},
		"questionable summary":        {{"STAT:QUES:ENAB 512", ""}, {"STAT:QUES:ENAB?", "512"}, {"STAT:PRES", ""}, {"STAT:QUES:ENAB?", "0"}},
		"invalid character":           {{"RES\x01 5", ""}, {"SYST:ERR?", `-101,"Invalid character"`}},
		"too long":                    {{strings.Repeat("A", 2000), ""}, {"SYST:ERR?", `-363,"Input buffer overrun"`}},
	} {
		t.Run(name, func(t *testing.T) {
			instrument := demo()
			for _, step := range steps {
				require.Equal(t, step.want, instrument.Message(step.send), step.send)
			}
		})
	}
}

func TestQueueOverflow(t *testing.T) {
	instrument := demo()
	for range complaintLimit + 5 {
		instrument.Message("NONSENSE")
	}
	require.Equal(t, "16", instrument.Message("SYST:ERR:COUN?"))
	for range complaintLimit - 1 {
		require.Equal(t, `-113,"Undefined header"`, instrument.Message("SYST:ERR?"))
	}
	require.Equal(t, `-350,"Queue overflow"`, instrument.Message("SYST:ERR?"))
	require.Equal(t, `0,"No error"`, instrument.Message("SYST:ERR?"))
}

func TestMeterOverloadsAndSaysSo(t *testing.T) {
	present := Resistance{Class: Value, Microohms: 10_500_000}
	instrument := NewInstrument(demoIdentity, DefaultLimits, func() Resistance { return present }, nil)
	instrument.Message("*CLS;STAT:QUES:ENAB 512")
	require.Equal(t, "+1.05000000E+01", instrument.Message("READ?"))
	require.Equal(t, "0", instrument.Message("*STB?"))
	present.Microohms = DefaultLimits.MeterCeiling + 1
	require.Equal(t, "+9.90000000E+37", instrument.Message("MEAS:FRES?"))
	require.Equal(t, "8", instrument.Message("*STB?"))
	require.Equal(t, "512", instrument.Message("STAT:QUES?"))
	require.Equal(t, "0", instrument.Message("STAT:QUES?"), "reading clears the event")
	require.Equal(t, "512", instrument.Message("STAT:QUES:COND?"))
}

// Families of error numbers: SCPI-99 volume 2 chapter 21.8, as an open-source SCPI parser cites it.
func TestErrorFamilies(t *testing.T) {
	for code, want := range map[int]uint8{-100: 32, -113: 32, -200: 16, -222: 16, -300: 8, -350: 8, 1: 8, 32767: 8, -410: 4, -440: 4, -500: 128, -600: 64, -800: 1, 0: 0} {
		require.Equal(t, want, eventOf(code), code)
	}
}

// Only the short and the whole long form are words.
func TestHeaderForms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		long := "RESISTANCE"
		length := rapid.IntRange(1, len(long)).Draw(t, "length")
		h := newHeader("[SOURce:]RESistance")
		require.Equal(t, length == 3 || length == len(long), h.matches([]string{strings.ToLower(long[:length])}, false))
	})
}

func FuzzMessage(f *testing.F) {
	for _, step := range golden {
		f.Add(step.send)
	}
	f.Add("RES 1.5 KOHM;:SYST:ERR?;*IDN? 12;STAT:QUES:ENAB #HFFFF")
	f.Fuzz(func(t *testing.T, text string) {
		instrument := demo()
		answer := instrument.Message(text)
		if strings.ContainsAny(answer, "\r\n") {
			t.Fatalf("%q answered by %q", text, answer)
		}
		if len(instrument.status.queue) > complaintLimit {
			t.Fatal("queue too long")
		}
		if set := instrument.Setting(); set < 0 || set > DefaultLimits.Most {
			t.Fatalf("%q set %d", text, set)
		}
		instrument.Message("*CLS")
		if got := instrument.Message("SYST:ERR?;*ESR?"); got != `0,"No error";0` {
			t.Fatalf("after *CLS: %q", got)
		}
	})
}
