package opinion

import (
	"fmt"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

const about = `One scan is one step. The state is what is declared below as kept from scan to
scan; everything starts at 0, which is power-up. The rules restate the logic
from its written semantics, not from the verifier's tables`

// aboutCells and aboutAlone go on with what is so of each kind.
const (
	aboutCells = `; only what the
permissive, or a vessel's bond, can be while the other causes are free is a
table ("nth" picks). A counter is named by the first value of its cell; "last"
says that it stands at the last one. `
	aboutAlone = `. What comes
from outside is free in every scan. `
)

// caution ends what is said about every model.
const caution = "Verdicts are about this model; none of them\nmeans \"safe\"."

// itsNumber says what to try on the model of a channel.
const itsNumber = `Unless another one was asked for, the number is the one that verify finds. It is
exact if one scan less, or of dips one more, is violated.`

// models are what people call each kind of model.
var models = map[verify.Stating]string{
	verify.InReset: "the model of the output without a vessel", verify.InWait: "the model of a vessel, with its charge memory",
	verify.InChannel: "the model of a channel alone", verify.InBypass: "the model of a bypass alone",
}

// notStated says where the properties are that a model of an output does not state,
// and why, one line for those of which the same is true.
func notStated(kind string) string {
	where, who := []string{}, map[string][]model.Property{}
	for _, p := range verify.Properties() {
		if p.Emitted.States(kind) {
			continue
		}
		text := "in no model"
		if len(p.Emitted.In) > 0 {
			text = "in " + models[p.Emitted.In[0]]
		}
		if p.Emitted.Why != "" {
			text += ":\n    " + p.Emitted.Why
		}
		if who[text] == nil {
			where = append(where, text)
		}
		who[text] = append(who[text], p.Number)
	}
	text := "Not stated here:\n"
	for _, at := range where {
		text += "  " + listed(who[at]) + " " + at + "\n"
	}
	for _, n := range stated(kind) {
		if asked := entry(n).Emitted.Asked; asked != "" {
			text += fmt.Sprintf("Demanded only when asked for:\n  %s %s\n", n, asked)
		}
	}
	return strings.TrimSuffix(text, "\n")
}

// head is the comment that every model begins with.
func (s *Source) head() string {
	kind := aboutCells
	if s.says != "" {
		kind = aboutAlone
	}
	text := s.Title + ".\n" + about + kind + caution + "\n\nDemanded, where it has anything to say:\n"
	for _, n := range s.judged {
		text += fmt.Sprintf("  %s %s\n", n, verify.TitleOf(n))
	}
	switch s.kind {
	case aChannel:
		return text + s.says + "\n" + itsNumber
	case aBypass:
		return text + s.says
	}
	return text + notStated(s.kind)
}

// Promela prints the source for SPIN: spin -a, then an exhaustive pan. Read its
// line "errors:" and look for truncation; its exit code says nothing.
func (s *Source) Promela() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "/* %s\n\nspin -a FILE, gcc -O2 -DSAFETY -DNOREDUCE -o pan pan.c, ./pan -c0 -m1000000 says\nwhat is violated in its line \"errors:\" and above it; its exit code says nothing.\nspin -DMET -a FILE demands the reverse: what is violated then is a property that\nhas something to say; what is not is \"nothing checked\".\n\nInputs are chosen inside one atomic step and set back to 0 at its end, and the\nrest of a scan is one d_step, so \"states, stored\" counts states between scans. */\n\n", s.head())
	for _, c := range s.constants {
		fmt.Fprintf(&b, "#define %s %d\n", c.name, c.value)
	}
	b.WriteString("\n/* kept from scan to scan */\n")
	for _, v := range s.memory {
		fmt.Fprintf(&b, "%s %s;\n", promelaType(v.top), v.name)
	}
	b.WriteString("\n/* chosen in every scan */\n")
	for _, in := range s.inputs {
		fmt.Fprintf(&b, "byte %s;\n", in.name)
	}
	b.WriteString("\n/* of one scan: no part of the state. SPIN's breadth-first search (spin -DBFS -a,\n   gcc -DBFS) takes no hidden variables; there they go back to 0 instead. */\n#ifdef BFS\n#define OF_ONE_SCAN\n#else\n#define OF_ONE_SCAN hidden\n#endif\n")
	for _, v := range s.scratch {
		fmt.Fprintf(&b, "OF_ONE_SCAN %s %s;\n", promelaType(max(v.top, 2)), v.name) // a bit cannot be hidden
	}
	b.WriteString("\nactive proctype scan() {\n  do\n  :: atomic {\n")
	for _, in := range s.inputs {
		b.WriteString("    if\n")
		for i, v := range in.values {
			if in.may[i] != "" {
				fmt.Fprintf(&b, "    :: (%s) -> %s = %d\n", in.may[i], in.name, v)
			} else {
				fmt.Fprintf(&b, "    :: %s = %d\n", in.name, v)
			}
		}
		b.WriteString("    fi;\n")
	}
	b.WriteString("    d_step {\n")
	s.promelaBody(&b)
	for _, in := range s.inputs {
		fmt.Fprintf(&b, "      %s = 0;\n", in.name)
	}
	b.WriteString("#ifdef BFS\n")
	for _, v := range s.scratch {
		fmt.Fprintf(&b, "      %s = 0;\n", v.name)
	}
	b.WriteString("#endif\n")
	b.WriteString("    }\n  }\n  od\n}\n")
	return []byte(b.String())
}

func promelaType(top uint64) string {
	switch {
	case top <= 1:
		return "bit"
	case top <= 255:
		return "byte"
	case top <= 32767:
		return "short"
	}
	return "int"
}

// promelaBody prints the rules. A chain of elif becomes nested, because the
// branches of one Promela if are alternatives without order.
func (s *Source) promelaBody(b *strings.Builder) {
	var open []int // how many fi each if needs
	var hasElse []bool
	for _, line := range s.expanded() {
		text := strings.TrimLeft(line, " ")
		in := "      " + line[:len(line)-len(text)]
		word, rest, _ := strings.Cut(text, " ")
		switch word {
		case "#":
			fmt.Fprintf(b, "%s/* %s */\n", in, strings.TrimLeft(rest, "- "))
		case "if":
			open, hasElse = append(open, 1), append(hasElse, false)
			fmt.Fprintf(b, "%sif :: (%s) ->\n", in, rest)
		case "elif":
			open[len(open)-1]++
			fmt.Fprintf(b, "%s:: else -> if :: (%s) ->\n", in, rest)
		case "else":
			hasElse[len(hasElse)-1] = true
			fmt.Fprintf(b, "%s:: else ->\n", in)
		case "end":
			last := len(open) - 1
			if !hasElse[last] {
				fmt.Fprintf(b, "%s:: else -> skip\n", in)
			}
			fmt.Fprintf(b, "%s%s;\n", in, strings.TrimSpace(strings.Repeat("fi ", open[last])))
			open, hasElse = open[:last], hasElse[:last]
		case "demand":
			fmt.Fprintf(b, "#ifdef MET\n%sassert(hit%s == 0);\n#else\n%sassert(bad%s == 0);\n#endif\n", in, rest, in, rest)
		default:
			fmt.Fprintf(b, "%s%s;\n", in, strings.Replace(text, ":=", "=", 1))
		}
	}
}
