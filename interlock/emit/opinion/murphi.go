package opinion

import (
	"fmt"
	"strings"
)

// Murphi prints the source for rumur.
func (s *Source) Murphi() []byte {
	var b strings.Builder
	head := s.head() + "\n\nA cover that is never hit is a property that has nothing to say: \"nothing checked\",\nnot \"violated\", though rumur counts it among its errors."
	fmt.Fprintf(&b, "-- %s\n\nconst\n", strings.ReplaceAll(head, "\n", "\n-- "))
	for _, c := range s.constants {
		fmt.Fprintf(&b, "  %s : %d;\n", c.name, c.value)
	}
	b.WriteString("\nvar -- kept from scan to scan\n")
	for _, v := range s.memory {
		fmt.Fprintf(&b, "  %s : 0 .. %d;\n", v.name, max(v.top, 1))
	}
	most, now := s.choices()
	fmt.Fprintf(&b, "  choices : 1 .. %d; -- of inputs: follows from the rest, and is kept to save time\n", most)
	b.WriteString("\nstartstate \"power-up\"\nbegin\n")
	for _, v := range s.memory {
		fmt.Fprintf(&b, "  %s := 0;\n", v.name)
	}
	fmt.Fprintf(&b, "  choices := %s;\nend;\n\n", now)
	s.murphiChoice(&b)
	b.WriteString("  -- the rules\n")
	s.murphiBody(&b)
	fmt.Fprintf(&b, "  choices := %s;\nend;\nend;\n", now)
	return []byte(b.String())
}

// murphiChoice prints the one number that chooses all inputs of a scan. A rule
// set over each input by itself would try every combination in every state; of
// these most can not be chosen there.
func (s *Source) murphiChoice(b *strings.Builder) {
	most, _ := s.choices()
	fmt.Fprintf(b, "ruleset -- one number chooses all inputs of a scan\n  choice : 0 .. %d do\nrule \"scan\"\n  choice < choices\n==>\nvar -- of one scan\n", most-1)
	fmt.Fprintf(b, "  rest : 0 .. %d;\n  options : 0 .. 8;\n  at : 0 .. 7;\n", most)
	for _, in := range s.inputs {
		fmt.Fprintf(b, "  %s : 0 .. %d;\n", in.name, in.values[len(in.values)-1])
	}
	for _, v := range s.scratch {
		fmt.Fprintf(b, "  %s : 0 .. %d;\n", v.name, max(v.top, 1))
	}
	b.WriteString("begin\n  -- the inputs\n  rest := choice;\n")
	for i := range s.inputs {
		s.inputs[i].decode(b)
	}
}

// choices is how many inputs a scan can have: at most, and in a state.
func (s *Source) choices() (most int, now string) {
	counts := []string{"1"}
	for i := range s.inputs {
		counts = append(counts, s.inputs[i].options())
	}
	return max(s.combinations("mode == ENABLED"), s.combinations("mode != ENABLED")), strings.Join(counts, " * ")
}

// combinations is how many can be chosen at most while the mode is as given.
func (s *Source) combinations(mode string) int {
	n := 1
	for _, in := range s.inputs {
		can := 0
		for _, guard := range in.may {
			if !strings.HasPrefix(guard, "mode ") || strings.HasPrefix(guard, mode) {
				can++
			}
		}
		n *= can
	}
	return n
}

// options is how many values can be chosen, as an expression over the state.
func (in *input) options() string {
	free, text := 0, ""
	for _, guard := range in.may {
		if guard == "" {
			free++
		} else {
			text += fmt.Sprintf(" + (%s ? 1 : 0)", murphiText(guard))
		}
	}
	if text == "" {
		return fmt.Sprint(free)
	}
	return fmt.Sprintf("(%d%s)", free, text)
}

// decode takes the input's value out of the number: what is always possible
// first, then what is possible in this state.
func (in *input) decode(b *strings.Builder) {
	fmt.Fprintf(b, "  options := %s;\n  at := rest %% options;\n  rest := rest / options;\n", in.options())
	n := 0
	for i, v := range in.values {
		if in.may[i] == "" {
			fmt.Fprintf(b, "  if at = %d then %s := %d; end;\n", n, in.name, v)
			n++
		}
	}
	for i, v := range in.values {
		if in.may[i] != "" {
			fmt.Fprintf(b, "  if at >= %d & %s then\n    if at = %d then %s := %d; end;\n    at := at - 1;\n  end;\n", n, murphiText(in.may[i]), n, in.name, v)
		}
	}
}

var murphiText = strings.NewReplacer("==", "=", "&&", "&", "||", "|").Replace

func (s *Source) murphiBody(b *strings.Builder) {
	for _, line := range s.expanded() {
		text := strings.TrimLeft(line, " ")
		in := "  " + line[:len(line)-len(text)]
		word, rest, _ := strings.Cut(text, " ")
		switch word {
		case "#":
			fmt.Fprintf(b, "%s-- %s\n", in, strings.TrimLeft(rest, "- "))
		case "if":
			fmt.Fprintf(b, "%sif %s then\n", in, murphiText(rest))
		case "elif":
			fmt.Fprintf(b, "%selsif %s then\n", in, murphiText(rest))
		case "else":
			fmt.Fprintf(b, "%selse\n", in)
		case "end":
			fmt.Fprintf(b, "%send;\n", in)
		case "demand":
			fmt.Fprintf(b, "%sassert bad%s = 0 \"bad%s\";\n%scover hit%s = 1 \"hit%s\";\n", in, rest, rest, in, rest, rest)
		default:
			fmt.Fprintf(b, "%s%s;\n", in, text)
		}
	}
}
