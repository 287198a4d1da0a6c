package margin

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"ohmgate/sim/charge/interval"
)

// Colours: quiet for what is, one that stands out for what ignites. No meaning
// hangs on a colour alone: every band has its words.
var (
	ink      = color.RGBA{40, 44, 52, 255}
	bandFill = color.NRGBA{86, 124, 176, 110}
	bandLine = color.RGBA{46, 84, 136, 255}
	critFill = color.NRGBA{200, 90, 40, 90}
	critLine = color.RGBA{170, 60, 20, 255}
	phases   = []color.Color{color.RGBA{235, 236, 240, 255}, color.RGBA{222, 226, 233, 255}, color.RGBA{241, 243, 246, 255}}
)

const (
	plotWidth  = 19 * vg.Centimeter
	plotHeight = 25 * vg.Centimeter
	plotPoints = 600
	plotDPI    = 120
)

// Drawable lists the nodes that have an end of flow.
func (r *Report) Drawable() []string {
	var names []string
	for i := range r.Lines {
		if r.Lines[i].Loss.Outcome != nil {
			names = append(names, r.Lines[i].Node)
		}
	}
	return names
}

// Line is the first line of a node that can be drawn; with no name the one with
// the greatest ratio of charge to what ignites.
func (r *Report) Line(node string) (*Line, bool) {
	var worst *Line
	for i := range r.Lines {
		l := &r.Lines[i]
		switch {
		case l.Loss.Outcome == nil:
		case node == l.Node:
			return l, true
		case node == "" && (worst == nil || l.Loss.Outcome.Ratio.Hi > worst.Loss.Outcome.Ratio.Hi):
			worst = l
		}
	}
	return worst, worst != nil // with a name that is nobody's, nothing
}

// Plot draws one line as svg or png: the chain of delays, charge and energy
// against time, and what not knowing each input does.
func (l *Line) Plot(out io.Writer, kind string) error {
	if l.Loss.Outcome == nil {
		return errors.New("no end of flow: nothing to draw")
	}
	course := l.Loss.course(plotPoints)
	end := course[len(course)-1].time
	panels := []*plot.Plot{l.delayPanel(end), l.chargePanel(course), l.energyPanel(course), l.tornadoPanel()}
	switch kind {
	case "svg":
		canvas := vgsvg.New(plotWidth, plotHeight)
		arrange(draw.New(canvas), panels)
		_, err := canvas.WriteTo(out)
		return err
	case "png":
		canvas := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(plotWidth, plotHeight), vgimg.UseDPI(plotDPI))}
		arrange(draw.New(canvas), panels)
		_, err := canvas.WriteTo(out)
		return err
	}
	return fmt.Errorf("a plot cannot be written as %q: write svg or png", kind)
}

// arrange stacks the panels with their time axes in line.
func arrange(page draw.Canvas, panels []*plot.Plot) {
	page.SetColor(color.White)
	page.Fill(page.Rectangle.Path())
	tiles := draw.Tiles{Rows: len(panels), Cols: 1, PadTop: 4 * vg.Millimeter, PadBottom: 3 * vg.Millimeter, PadLeft: 3 * vg.Millimeter, PadRight: 6 * vg.Millimeter, PadY: 4 * vg.Millimeter}
	grid := make([][]*plot.Plot, len(panels))
	for i := range panels {
		grid[i] = panels[i : i+1]
	}
	for i, row := range plot.Align(grid, tiles, page) {
		panels[i].Draw(row[0])
	}
}

func newPanel(title, x, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.Title.Padding = 2 * vg.Millimeter
	for _, style := range []*text.Style{&p.Title.TextStyle, &p.X.Label.TextStyle, &p.Y.Label.TextStyle, &p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		style.Font = font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, 8.5)
		style.Color = ink
	}
	p.Title.TextStyle.Font.Size = 10
	p.X.Color, p.Y.Color = ink, ink
	return p
}

// scale picks the prefix in which a largest value reads well.
func scale(most float64, unit string) (factor float64, shown string) {
	for _, s := range []struct {
		size   float64
		prefix string
	}{{1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}} {
		if most >= s.size {
			return s.size, s.prefix + unit
		}
	}
	return 1e-12, "p" + unit
}

// box fills a rectangle in the coordinates of the plot.
func box(p *plot.Plot, x0, x1, y0, y1 float64, fill color.Color) {
	shape, err := plotter.NewPolygon(plotter.XYs{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
	if err != nil {
		return // an empty or infinite box is not drawn
	}
	shape.Color, shape.LineStyle.Width = fill, 0
	p.Add(shape)
}

func line(p *plot.Plot, points plotter.XYs, ink color.Color, width vg.Length) {
	if made, err := plotter.NewLine(points); err == nil {
		made.Color, made.Width = ink, width
		p.Add(made)
	}
}

// label writes words at a place in the coordinates of the plot.
func label(p *plot.Plot, x, y float64, words string, ink color.Color, right bool) {
	made, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: x, Y: y}}, Labels: []string{words}})
	if err != nil {
		return
	}
	style := &made.TextStyle[0]
	style.Font = font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, 8)
	style.Color, style.YAlign = ink, text.YCenter
	if right {
		style.XAlign = text.XRight
	}
	p.Add(made)
}

// delayPanel draws the longest chain, one bar a link, each from the end of the
// one before; a tick marks where its shortest would end.
func (l *Line) delayPanel(end float64) *plot.Plot {
	p := newPanel(l.title()+": from the loss to no flow, longest chain", "", "")
	links := l.Loss.timed()
	at := 0.0
	names := make([]plot.Tick, 0, len(links))
	for i, d := range links {
		y := float64(len(links) - 1 - i)
		box(p, at, at+d.Time.Hi, y-0.32, y+0.32, bandFill)
		line(p, plotter.XYs{{X: at + d.Time.Lo, Y: y - 0.32}, {X: at + d.Time.Lo, Y: y + 0.32}}, bandLine, 1)
		words, right := " "+d.Time.Text("s")+" ", at+d.Time.Hi > end*0.7
		if right {
			label(p, at, y, words, ink, true)
		} else {
			label(p, at+d.Time.Hi, y, words, ink, false)
		}
		names = append(names, plot.Tick{Value: y, Label: d.drawn})
		at += d.Time.Hi
	}
	p.Y.Tick.Marker = plot.ConstantTicks(names)
	p.Y.Tick.Length = 0
	p.Y.Min, p.Y.Max = -0.6, float64(len(links))-0.4
	p.X.Min, p.X.Max = 0, end
	return p
}

// timed are the links that take time one after the other.
func (a *Loss) timed() []Delay {
	var list []Delay
	for _, d := range a.Delays {
		if d.drawn != "" {
			list = append(list, d)
		}
	}
	return list
}

func (l *Line) title() string { return l.Node + " under " + l.Stream }

// phaseBands shades full current and dying away of the longest chain.
func (l *Line) phaseBands(p *plot.Plot, low, high float64) {
	run := l.Loss.loss.RunDown
	for i, x := range [][2]float64{{0, run.Delay.Hi}, {run.Delay.Hi, run.End().Hi}} {
		if x[1] > x[0] {
			box(p, x[0], x[1], low, high, phases[i])
		}
	}
}

func (l *Line) chargePanel(course []moment) *plot.Plot {
	o := l.Loss.Outcome
	unit, shown := scale(math.Max(o.AtStop.Hi, o.Critical.Hi), "C")
	p := newPanel("Charge; red: ignites from "+o.Critical.Text("C")+"; grey: full current, then dying away", "", "charge / "+shown)
	top := 1.15 * math.Max(o.AtStop.Hi, math.Min(o.Critical.Hi, 3*o.AtStop.Hi)) / unit
	p.Y.Min, p.Y.Max = 0, top
	end := course[len(course)-1].time
	p.X.Min, p.X.Max = 0, end
	l.phaseBands(p, 0, top)
	band(p, course, func(m moment) interval.Interval { return m.charge.Scale(1 / unit) })
	critical(p, o.Critical.Scale(1/unit), end, top)
	return p
}

func (l *Line) energyPanel(course []moment) *plot.Plot {
	ignition := l.Loss.loss.Ignition.Energy
	p := newPanel("Spark energy, voltage capped at flashover; red: ignites from "+ignition.Text("J"), "time after the loss / s", "energy")
	low := math.Min(ignition.Lo, math.Max(l.Loss.Outcome.EnergyCapped.Lo, ignition.Lo*1e-5)) * 1e-2
	top := 4 * math.Max(l.Loss.Outcome.EnergyCapped.Hi, ignition.Hi)
	p.Y.Scale, p.Y.Tick.Marker = plot.LogScale{}, decades{"J"}
	p.Y.Min, p.Y.Max = low, top
	end := course[len(course)-1].time
	p.X.Min, p.X.Max = 0, end
	l.phaseBands(p, low, top)
	band(p, course, func(m moment) interval.Interval {
		e := m.energy
		return interval.Interval{Lo: math.Max(e.Lo, low), Hi: math.Max(e.Hi, low)}
	})
	critical(p, ignition, end, top)
	return p
}

// band draws both ends of a course with what lies between.
func band(p *plot.Plot, course []moment, of func(moment) interval.Interval) {
	low, high := make(plotter.XYs, 0, len(course)), make(plotter.XYs, 0, len(course))
	for _, m := range course {
		v := of(m)
		low, high = append(low, plotter.XY{X: m.time, Y: v.Lo}), append(high, plotter.XY{X: m.time, Y: v.Hi})
	}
	around := append(plotter.XYs{}, high...)
	for i := len(low) - 1; i >= 0; i-- {
		around = append(around, low[i])
	}
	if shape, err := plotter.NewPolygon(around); err == nil {
		shape.Color, shape.LineStyle.Width = bandFill, 0
		p.Add(shape)
	}
	line(p, low, bandLine, 1)
	line(p, high, bandLine, 1.4)
}

// critical draws what ignites, across the panel.
func critical(p *plot.Plot, level interval.Interval, end, top float64) {
	level.Hi = math.Min(level.Hi, top)
	if level.Lo >= top {
		return
	}
	box(p, 0, end, level.Lo, math.Max(level.Hi, level.Lo*(1+1e-9)), critFill)
	line(p, plotter.XYs{{X: 0, Y: level.Lo}, {X: end, Y: level.Lo}}, critLine, 1.4)
}

// decades ticks a logarithmic axis with at most seven labels, in plain words.
type decades struct{ unit string }

// mostLabels is how many labels an axis holds.
const mostLabels = 7

func (d decades) Ticks(low, high float64) []plot.Tick {
	first, last := int(math.Ceil(math.Log10(low)-1e-9)), int(math.Floor(math.Log10(high)+1e-9))
	step := max(1, (last-first+mostLabels-1)/mostLabels)
	var ticks []plot.Tick
	for n := first; n <= last; n++ {
		tick := plot.Tick{Value: math.Pow10(n)}
		if (n-first)%step == 0 {
			tick.Label = decadeText(n, d.unit)
		}
		ticks = append(ticks, tick)
		for k := 2; k < 10 && step == 1; k++ {
			if v := float64(k) * math.Pow10(n); v <= high {
				ticks = append(ticks, plot.Tick{Value: v})
			}
		}
	}
	return ticks
}

// decadeText is a power of ten with the prefix of its unit, or plainly.
func decadeText(n int, unit string) string {
	if unit == "" {
		return strconv.FormatFloat(math.Pow10(n), 'g', -1, 64)
	}
	prefixes := map[int]string{-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k"}
	thousand := 3 * int(math.Floor(float64(n)/3))
	if prefix, ok := prefixes[thousand]; ok {
		return strconv.Itoa(int(math.Pow10(n-thousand))) + " " + prefix + unit
	}
	return fmt.Sprintf("1e%d %s", n, unit)
}

// tornadoPanel draws one bar an input, widest on top: the ratio of charge to
// what ignites while this input goes through its interval.
func (l *Line) tornadoPanel() *plot.Plot {
	p := newPanel("One input at a time, the others at their middle; right of 1 it ignites", "charge over what ignites", "")
	p.X.Scale, p.X.Tick.Marker = plot.LogScale{}, decades{}
	bars := make([]Bar, 0, len(l.Loss.Swings))
	low, high := 1.0, 1.0
	for _, s := range l.Loss.Swings {
		if l.Loss.loss.Value(s.Input).IsPoint() {
			continue // known: nothing to vary
		}
		bars = append(bars, s)
		high = math.Max(high, s.Ratio.Hi)
		if s.Ratio.Lo > 0 {
			low = math.Min(low, s.Ratio.Lo)
		}
	}
	low, high = math.Max(low/3, high*1e-9), high*3
	names := make([]plot.Tick, 0, len(bars))
	for i, s := range bars {
		y := float64(len(bars) - 1 - i)
		from := math.Max(s.Ratio.Lo, low)
		box(p, from, math.Max(s.Ratio.Hi, from*1.01), y-0.32, y+0.32, bandFill)
		names = append(names, plot.Tick{Value: y, Label: s.Input.String() + " " + l.Loss.loss.Value(s.Input).Text(units[s.Input])})
	}
	line(p, plotter.XYs{{X: 1, Y: -0.6}, {X: 1, Y: float64(len(bars)) - 0.4}}, critLine, 1.4)
	p.Y.Tick.Marker, p.Y.Tick.Length = plot.ConstantTicks(names), 0
	p.X.Min, p.X.Max = low, high
	p.Y.Min, p.Y.Max = -0.6, float64(len(bars))-0.4
	return p
}
