package modbus

import (
	"fmt"
	"strings"
)

// String is a request for people.
func (r Request) String() string {
	what := ""
	switch {
	case !r.Function.Known():
		return r.Function.String()
	case r.Function == WriteCoil, r.Function == WriteCoils:
		what = " to " + bitText(r.Bits)
	case r.Function.Writes():
		what = " to " + wordText(r.Words)
	}
	if r.items() == 1 {
		return fmt.Sprintf("%v %d%s", r.Function, r.First, what)
	}
	return fmt.Sprintf("%v %d..%d%s", r.Function, r.First, int(r.First)+int(r.Count)-1, what)
}

// String is a reply for people.
func (r Reply) String() string {
	switch {
	case r.Exception != noException:
		return fmt.Sprintf("refused, exception %v", r.Exception)
	case r.Function.Writes():
		return "done"
	case len(r.Bits) > 0:
		return bitText(r.Bits)
	}
	return wordText(r.Words)
}

// bitText shows the first item first.
func bitText(bits []bool) string {
	text := []byte{}
	for index, on := range bits {
		if index > 0 && index%8 == 0 {
			text = append(text, ' ')
		}
		text = append(text, "01"[map[bool]int{true: 1}[on]])
	}
	return string(text)
}

func wordText(words []uint16) string {
	list := make([]string, len(words))
	for index, word := range words {
		list[index] = fmt.Sprint(word)
	}
	return strings.Join(list, " ")
}
