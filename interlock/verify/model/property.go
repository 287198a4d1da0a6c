package model

import (
	"fmt"
	"math/bits"
	"strconv"
)

// Property is a promise that every site is verified for, by the number that people
// know it by. What is to be known of each is one entry of the table in
// interlock/verify. Zero is none.
type Property uint8

// The properties, in the order of their numbers.
const (
	PropertyBoot        Property = 1 + iota // no start before every bond has settled
	PropertyWithhold                        // withheld in the scan in which the permissive is not true
	PropertyStart                           // a start only with every needed channel bonded
	PropertyResponse                        // bad is answered in bounded time
	PropertyChatter                         // mostly bad is not tolerated for ever
	PropertyPatience                        // short dips never trip
	PropertyReset                           // no restart without one whole press
	PropertyWait                            // no start before the wait after the end of flow
	PropertyUnknown                         // unknown never helps
	PropertyUnconfirmed                     // an unconfirmed actuator is latched and calls its backup
	PropertyBypass                          // a bypass ends and changes no wait
	PropertyComplete                        // each required cause trips, nothing else does
	PropertyFirstOut                        // first-out names what was not true
	PropertyKick                            // the watchdog is kicked only where all was evaluated
	PropertyRecovery                        // all well again leads back to enabled
)

// MaxProperties bounds the numbers: a set has a bit for each.
const MaxProperties = 32

func (p Property) String() string { return strconv.Itoa(int(p)) }

// ParseProperty reads a number as people write it; it need not be that of a
// property that there is.
func ParseProperty(text string) (Property, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n >= MaxProperties {
		return 0, fmt.Errorf("%q is no number of a property", text)
	}
	return Property(n), nil
}

// Bit is the set of this one.
func (p Property) Bit() PropertySet { return 1 << p }

// PropertySet is a set of properties.
type PropertySet uint32

// Properties is the set of those listed.
func Properties(list ...Property) (s PropertySet) {
	for _, p := range list {
		s |= p.Bit()
	}
	return s
}

// Has says that a property is in the set.
func (s PropertySet) Has(p Property) bool { return s>>p&1 == 1 }

// First is the lowest of the set; 0 of an empty one.
func (s PropertySet) First() Property {
	if s == 0 {
		return 0
	}
	return Property(bits.TrailingZeros32(uint32(s)))
}

// List are those of the set, lowest first.
func (s PropertySet) List() (list []Property) {
	for ; s != 0; s &= s - 1 {
		list = append(list, s.First())
	}
	return list
}
