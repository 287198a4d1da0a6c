package reliability

import "fmt"

// Architecture is how many of how many channels must work for the function to.
type Architecture uint8

// The zero value is no architecture and is refused.
const (
	unset Architecture = iota
	OneOutOfOne
	OneOutOfTwo
	TwoOutOfTwo
	TwoOutOfThree
	OneOutOfThree
)

var architectureNames = [...]string{"unset", "1oo1", "1oo2", "2oo2", "2oo3", "1oo3"}

func (a Architecture) String() string {
	if !a.known() {
		return architectureNames[unset]
	}
	return architectureNames[a]
}

func (a Architecture) known() bool { return a > unset && int(a) < len(architectureNames) }

// ParseArchitecture reads "1oo1", "1oo2", "2oo2", "2oo3" or "1oo3".
func ParseArchitecture(text string) (Architecture, error) {
	for i, name := range architectureNames[1:] {
		if text == name {
			return Architecture(i + 1), nil
		}
	}
	return unset, fmt.Errorf("architecture %q: write 1oo1, 1oo2, 2oo2, 2oo3 or 1oo3", text)
}

// Redundant reports whether one dangerous failure alone leaves the function working.
func (a Architecture) Redundant() bool {
	return a == OneOutOfTwo || a == TwoOutOfThree || a == OneOutOfThree
}
