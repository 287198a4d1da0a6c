package interlock

// BypassState is one bypass. The zero value is off, with nothing seen.
type BypassState struct {
	Low    bool  // a valid 0 was seen since the last 1
	Active Scans // scans since it began, the first one counted; 0 is off
	Gap    Scans // scans since its end, or since power-up, with the button at a valid 0
}

// stepBypass is one scan. A bypass begins with a fresh 1 after a fresh 0, once
// the gap has passed, and ends by time alone.
func stepBypass(c *Bypass, s BypassState, level Truth, fresh bool) (BypassState, bypassNews) {
	next := s
	var news bypassNews
	pressed := s.Low && level == True && fresh
	if level != False {
		next.Low = false
	} else if fresh {
		next.Low = true
	}
	if s.Active > 0 {
		next.Active++
		news.warning = c.For-s.Active == c.Warn
		news.ignored = pressed
		if next.Active > c.For {
			next.Active, next.Gap = 0, 0
			news.ended = true
		}
		return next, news
	}
	if level == False {
		next.Gap = min(s.Gap.Next(), c.Gap.Next())
	}
	if pressed {
		if s.Gap > c.Gap {
			next.Active = 1
			news.began = true
		} else {
			news.ignored = true
		}
	}
	return next, news
}

type bypassNews struct{ began, warning, ended, ignored bool }
