package verify

func (v *verification) audit() *Audit {
	a := &Audit{}
	for _, t := range v.byChannel {
		c, d := t.audit()
		a.Compared += c
		a.Different += d
	}
	return a
}
