package site

// check runs everything that one key alone cannot show. Each check looks only
// at what was read without a problem, so that one mistake is told once.
func (r *reader) check(s *Site) {
	if !r.ok("poll") {
		s.Poll = s.Period.Max
	}
	if !r.ok("scan") {
		return
	}
}
