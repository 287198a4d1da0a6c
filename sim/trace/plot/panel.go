package plot

import (
	"math"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// limits is the log axis of one channel: decades around what was read and what
// is asked for.
type limits struct{ low, high float64 }

func (w *Writer) limits(channel int) limits {
	c := &w.config.Channels[channel]
	low, high := float64(c.Accept)/1e6, float64(c.Reject)/1e6
	for i := range w.columns {
		if l := w.columns[i].low[channel]; l > 0 {
			low = math.Min(low, l)
		}
		if h := w.columns[i].high[channel]; !math.IsNaN(h) && h > 0 {
			high = math.Max(high, h)
		}
	}
	return limits{math.Pow(10, math.Floor(math.Log10(low*0.9))), math.Pow(10, math.Ceil(math.Log10(high*1.1)))}
}

// drawPanel draws the resistance of one channel.
func (w *Writer) drawPanel(p *page, channel int) {
	gap := 0.35 * vg.Centimeter
	top, bottom := p.top, p.top-panelHeight+gap
	l := w.limits(channel)
	y := func(ohms float64) vg.Length {
		share := (math.Log10(math.Max(ohms, l.low)) - math.Log10(l.low)) / (math.Log10(l.high) - math.Log10(l.low))
		return bottom + vg.Length(math.Min(share, 1))*(top-bottom)
	}
	p.drawDecades(l, y)
	c := &w.config.Channels[channel]
	accept, reject := float64(c.Accept)/1e6, float64(c.Reject)/1e6
	p.line(0.8, dark, []vg.Length{vg.Points(4), vg.Points(2)}, p.left, y(accept), p.right, y(accept))
	p.line(0.8, black, nil, p.left, y(reject), p.right, y(reject))
	// The two lines often lie close: one text stands above, the other below.
	p.text("reject "+ohmText(reject), smallestText, p.right+vg.Points(3), y(reject)+vg.Points(0.5), draw.XLeft, draw.YBottom, black)
	p.text("accept "+ohmText(accept), smallestText, p.right+vg.Points(3), y(accept)-vg.Points(0.5), draw.XLeft, draw.YTop, dark)
	w.drawReadings(p, channel, y)
	w.drawOver(p, channel, top)
	p.canvas.SetColor(black)
	p.canvas.SetLineWidth(vg.Points(0.7))
	p.canvas.Stroke(rectangle(p.left, bottom, p.right, top))
	p.text(w.header.Channels[channel], 9, p.canvas.Min.X+0.3*vg.Centimeter, (top+bottom)/2, draw.XLeft, draw.YCenter, black)
	p.top -= panelHeight
}

// drawDecades draws a faint line and a number at each decade; few enough of
// them that the numbers do not touch.
func (p *page) drawDecades(l limits, y func(float64) vg.Length) {
	decades := math.Round(math.Log10(l.high / l.low))
	each := math.Ceil(decades / 5)
	for d := 0.0; d <= decades; d++ {
		ohms := l.low * math.Pow(10, d)
		p.line(0.4, faint, nil, p.left, y(ohms), p.right, y(ohms))
		align := draw.YCenter
		switch d { // the outermost stay inside, clear of the neighbouring panel
		case 0:
			align = draw.YBottom
		case decades:
			align = draw.YTop
		}
		if math.Mod(d, each) == 0 {
			p.text(ohmText(ohms), smallestText, p.left-vg.Points(4), y(ohms), draw.XRight, align, black)
		}
	}
}

// ohmText is a resistance for a label.
func ohmText(ohms float64) string {
	for _, u := range [...]struct {
		factor float64
		name   string
	}{{1e9, "GΩ"}, {1e6, "MΩ"}, {1e3, "kΩ"}, {1, "Ω"}, {1e-3, "mΩ"}} {
		if ohms >= u.factor*0.9999 {
			return strconv.FormatFloat(ohms/u.factor, 'g', 4, 64) + " " + u.name
		}
	}
	return strconv.FormatFloat(ohms, 'g', 4, 64) + " Ω"
}

// drawReadings draws from the lowest to the highest reading of each column, and
// a line through them; where nothing valid was read, there is a gap.
func (w *Writer) drawReadings(p *page, channel int, y func(float64) vg.Length) {
	var path vg.Path
	flush := func() {
		if len(path) > 1 {
			p.canvas.SetColor(ink)
			p.canvas.SetLineWidth(vg.Points(0.9))
			p.canvas.SetLineDash(nil, 0)
			p.canvas.Stroke(path)
		}
		path = nil
	}
	step := p.x(w.seconds(1)) - p.x(w.seconds(0))
	for i := range w.columns {
		low, high := w.columns[i].low[channel], w.columns[i].high[channel]
		if math.IsNaN(low) {
			flush()
			continue
		}
		x := p.x(w.seconds(i))
		at := func(ohms float64) {
			point := vg.Point{X: x, Y: y(ohms)}
			if path == nil {
				path.Move(point)
			} else {
				path.Line(point)
			}
		}
		at(low)
		if high > low {
			at(high)
		}
		if i+1 == len(w.columns) || math.IsNaN(w.columns[i+1].low[channel]) {
			x += step
			at(high)
		}
	}
	flush()
}

// drawOver draws where the device said "above what I can measure": a strip along
// the upper edge.
func (w *Writer) drawOver(p *page, channel int, top vg.Length) {
	step := p.x(w.seconds(1)) - p.x(w.seconds(0))
	for i := range w.columns {
		if w.columns[i].over[channel] {
			x := p.x(w.seconds(i))
			p.box(dark, x, top-vg.Points(4), min(x+max(step, vg.Points(0.7)), p.right), top)
		}
	}
}

// look is how one value of a band is drawn.
type look struct {
	letter string
	shade  interface {
		RGBA() (r, g, b, a uint32)
	}
	high float64 // share of the band's height
	pen  interface {
		RGBA() (r, g, b, a uint32)
	}
}

var (
	phaseLooks = [monitor.Phases]look{
		monitor.Bonded: {"-", grey, 0.3, black}, monitor.Settling: {"s", pale, 0.6, black}, monitor.Unconnected: {"u", pale, 0.25, black},
		monitor.Doubtful: {"D", amber, 0.9, black}, monitor.Lost: {"L", red, 0.9, whiteInk}, monitor.Unreadable: {"?", dark, 0.9, whiteInk},
	}
	modeLooks = [interlock.Modes]look{
		interlock.Enabled: {"-", grey, 0.9, black}, interlock.KeptOut: {"k", pale, 0.25, black}, interlock.Tripped: {"T", red, 0.9, whiteInk},
	}
	chargeLooks = [...]look{{"-", pale, 0.25, black}, {"c", amber, 0.9, black}, {"E", red, 0.9, whiteInk}}
)

// band is one row of bands.
type band struct {
	name string
	row  int
	of   func(c *column) int8
	look func(v int8) look
}

// bands lists the rows: channels, outputs, vessels.
func (w *Writer) bands() []band {
	var list []band
	for i, name := range w.header.Channels {
		list = append(list, band{name, len(list), func(c *column) int8 { return c.phases[i] }, func(v int8) look { return phaseLooks[v] }})
	}
	for i, name := range w.header.Outputs {
		list = append(list, band{name, len(list), func(c *column) int8 { return c.modes[i] }, func(v int8) look { return modeLooks[v] }})
	}
	for i, name := range w.header.Vessels {
		list = append(list, band{name, len(list), func(c *column) int8 { return c.charged[i] }, func(v int8) look { return chargeLooks[v] }})
	}
	return list[:min(len(list), bandsShown)]
}

func (w *Writer) drawBands(p *page) {
	for _, b := range w.bands() {
		top, bottom := p.top-vg.Points(1), p.top-bandHeight+vg.Points(1)
		p.text(b.name, 8, p.left-vg.Points(4), (top+bottom)/2, draw.XRight, draw.YCenter, black)
		for from := 0; from < len(w.columns); {
			value := b.of(&w.columns[from])
			until := from + 1
			for until < len(w.columns) && b.of(&w.columns[until]) == value {
				until++
			}
			end := p.x(w.seconds(until))
			if until == len(w.columns) {
				end = p.right
			}
			p.drawSpan(b.look(value), p.x(w.seconds(from)), end, bottom, top)
			from = until
		}
		for _, m := range w.marks {
			if m.row == b.row {
				p.drawMark(m.kind, p.x(m.at), bottom, top)
			}
		}
		p.top -= bandHeight
	}
}

// drawSpan draws one stay. A short one is still a hair wide; a long one has its
// letter.
func (p *page) drawSpan(l look, from, until, bottom, top vg.Length) {
	until = max(until, from+vg.Points(0.7))
	high := bottom + vg.Length(l.high)*(top-bottom)
	p.box(l.shade, from, bottom, until, high)
	if l.letter != "-" && until-from > vg.Points(20) { // clear of the marks at its ends
		p.text(l.letter, smallestText, (from+until)/2, (bottom+top)/2, draw.XCenter, draw.YCenter, l.pen)
	}
}
