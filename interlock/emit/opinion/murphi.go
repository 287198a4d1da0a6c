package opinion

import (
	"fmt"
	"strings"
)

// Murphi prints the source for rumur.
func (s *Source) Murphi() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "-- %s.\n-- %s\n\nconst\n", s.Title, strings.ReplaceAll(about, "\n", "\n-- "))
	for _, c := range s.constants {
		fmt.Fprintf(&b, "  %s : %d;\n", c.name, c.value)
	}
	b.WriteString("\nvar -- kept from scan to scan\n")
	for _, v := range s.memory {
		fmt.Fprintf(&b, "  %s : 0 .. %d;\n", v.name, max(v.top, 1))
	}
	b.WriteString("\nstartstate \"power-up\"\nbegin\n")
	for _, v := range s.memory {
		fmt.Fprintf(&b, "  %s := 0;\n", v.name)
	}
	b.WriteString("end;\n\nruleset -- chosen in every scan\n")
	var guards []string
	for i, in := range s.inputs {
		end := ";"
		if i == len(s.inputs)-1 {
			end = " do"
		}
		fmt.Fprintf(&b, "  %s : %d .. %d%s\n", in.name, in.values[0], in.values[len(in.values)-1], end)
		guards = append(guards, in.guards()...)
	}
	if len(guards) == 0 {
		guards = []string{"true"}
	}
	fmt.Fprintf(&b, "rule \"scan\"\n  %s\n==>\nvar\n", strings.Join(guards, " &\n  "))
	for _, v := range s.scratch {
		fmt.Fprintf(&b, "  %s : 0 .. %d;\n", v.name, max(v.top, 1))
	}
	b.WriteString("begin\n")
	s.murphiBody(&b)
	b.WriteString("end;\nend;\n")
	return []byte(b.String())
}

// guards says when the values of an input can not be chosen.
func (in *input) guards() []string {
	var list []string
	at := 0
	for v := in.values[0]; v <= in.values[len(in.values)-1]; v++ {
		if in.values[at] != v {
			list = append(list, fmt.Sprintf("%s != %d", in.name, v))
			continue
		}
		if in.may[at] != "" {
			list = append(list, fmt.Sprintf("(%s != %d | (%s))", in.name, v, murphiText(in.may[at])))
		}
		at++
	}
	return list
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
			fmt.Fprintf(b, "%sassert %s \"%s\";\n", in, murphiText(rest), rest)
		default:
			fmt.Fprintf(b, "%s%s;\n", in, text)
		}
	}
}
