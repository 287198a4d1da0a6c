package verify

import (
	"fmt"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
)

// bypasses searches with the timer of one bypass after the other beside the
// channels.
func (j *jointly) bypasses() (*Result, error) {
	var list []jointAside
	for _, name := range j.Bypasses() {
		one := jointAside{of: name}
		if err := one.set(joint.Bypass(j.WithBypass(name), j.memory, j.progress)); err != nil {
			return nil, err
		}
		list = append(list, one)
	}
	return j.judgeBypasses(list), nil
}

// judgeBypasses says of property 11 what the searches of the bypasses met, after
// what the real Step does under each of them; nil if the output has none.
func (j *jointly) judgeBypasses(list []jointAside) *Result {
	v := j.begin()
	if !v.property(model.PropertyBypass).about(v.Model, j.Number) {
		return nil
	}
	r := v.bypasses(j.Number)
	for i := range list {
		b := &list[i]
		switch {
		case r.Verdict != Shown:
		case b.cutOff != nil:
			r.Verdict, r.Says = NotShown, b.cutOff.Error()
		case b.verdict == Violated:
			r = j.met(model.PropertyBypass, b.of+" begins without its key, is on beyond its time, or lets something else pass")
		case b.verdict == Nothing:
			r.Verdict, r.Says = Nothing, "the output never runs under "+b.of
		default:
			r.Says += fmt.Sprintf("; on, it alone lets it run without the bond: %s joint states with the timer of %s", b.states, b.of)
		}
	}
	return j.finish(r, model.PropertyBypass)
}
