package plot

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Sizes on paper.
const (
	paperWidth   = 25 * vg.Centimeter
	panelHeight  = 2.6 * vg.Centimeter
	bandHeight   = 0.5 * vg.Centimeter
	headHeight   = 1.1 * vg.Centimeter
	footHeight   = 1.9 * vg.Centimeter
	axisHeight   = 0.9 * vg.Centimeter
	sideWidth    = 2.9 * vg.Centimeter
	rightWidth   = 2.2 * vg.Centimeter
	panelsShown  = 12
	bandsShown   = 40
	dotsPerInch  = 150
	smallestText = 7
)

// Close draws the run.
func (w *Writer) Close() error {
	if w.header == nil {
		return nil
	}
	if !w.any {
		return fmt.Errorf("%s was not drawn: the run has no scan", w.path)
	}
	file, err := trace.Create(w.path)
	if err != nil {
		return err
	}
	if err := w.drawTo(file); err != nil {
		file.Discard()
		return err
	}
	return file.Commit()
}

func (w *Writer) drawTo(to io.Writer) error {
	width, height := paperWidth, w.height()
	if strings.ToLower(filepath.Ext(w.path)) == ".svg" {
		canvas := vgsvg.New(width, height)
		w.draw(draw.New(canvas))
		_, err := canvas.WriteTo(to)
		return err
	}
	canvas := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dotsPerInch))}
	w.draw(draw.New(canvas))
	_, err := canvas.WriteTo(to)
	return err
}

func (w *Writer) height() vg.Length {
	return headHeight + footHeight + axisHeight + panelHeight*vg.Length(w.panels()) + bandHeight*vg.Length(len(w.bands()))
}

// panels is how many channels are drawn; beyond that a drawing cannot be read.
func (w *Writer) panels() int { return min(len(w.header.Channels), panelsShown) }

// page is where things stand on the paper.
type page struct {
	canvas      draw.Canvas
	left, right vg.Length
	top         vg.Length // where the next thing begins
	from, until float64   // s
}

func (p *page) x(seconds float64) vg.Length {
	share := (seconds - p.from) / (p.until - p.from)
	return p.left + vg.Length(math.Min(math.Max(share, 0), 1))*(p.right-p.left)
}

func (w *Writer) draw(c draw.Canvas) {
	c.SetColor(color.White)
	c.Fill(rectangle(c.Min.X, c.Min.Y, c.Max.X, c.Max.Y))
	until := w.seconds(len(w.columns)-1) + float64(w.filled)*w.header.Period.Seconds()
	p := &page{canvas: c, left: c.Min.X + sideWidth, right: c.Max.X - rightWidth, top: c.Max.Y, from: w.begin, until: until}
	w.drawHead(p)
	for i := range w.panels() {
		w.drawPanel(p, i)
	}
	w.drawBands(p)
	drawTime(p)
	w.drawFoot(p)
}

func (w *Writer) drawHead(p *page) {
	title := w.header.Site
	if w.header.Scenario != "" {
		title += ": " + w.header.Scenario
	}
	if n := len(w.header.Channels) - w.panels(); n > 0 {
		title += fmt.Sprintf("  (%d more channels as bands only)", n)
	}
	p.text(title, 12, p.left, p.top-0.25*vg.Centimeter, draw.XLeft, draw.YTop, black)
	p.top -= headHeight
}

func (w *Writer) drawFoot(p *page) {
	lines := []string{
		fmt.Sprintf("phases  - %v   s %v   u %v   D %v   L %v   ? %v", monitor.Bonded, monitor.Settling, monitor.Unconnected, monitor.Doubtful, monitor.Lost, monitor.Unreadable) +
			fmt.Sprintf("      outputs  - %v   k %v   T %v", interlock.Enabled, interlock.KeptOut, interlock.Tripped) +
			fmt.Sprintf("      vessels  - %v   c %v   E %v      strip on top of a resistance: over-range", tell.Clear, tell.Charged, tell.Early),
		fmt.Sprintf("site %s   scenario %s   %s   one column is %d scans of %v; of each the extremes and the worst are drawn", short(w.header.SiteHash), short(w.header.ScenarioHash), w.header.Tool, w.each, w.header.Period),
	}
	if w.unshown > 0 {
		lines = append(lines, fmt.Sprintf("%d events are not marked", w.unshown))
	}
	y := p.top - 0.75*vg.Centimeter
	w.drawLegend(p, p.top-0.3*vg.Centimeter)
	for _, line := range lines {
		p.text(line, smallestText, p.canvas.Min.X+0.4*vg.Centimeter, y, draw.XLeft, draw.YTop, dark)
		y -= 0.4 * vg.Centimeter
	}
}

func short(hash string) string {
	if hash == "" {
		return "-"
	}
	return hash[:min(len(hash), 12)]
}

// text writes one line.
func (p *page) text(s string, size float64, x, y vg.Length, xAlign draw.XAlignment, yAlign draw.YAlignment, c color.Color) {
	style := plot.New().Title.TextStyle // the library's font and handler
	style.Font.Size = vg.Points(size)
	style.Color, style.XAlign, style.YAlign = c, xAlign, yAlign
	p.canvas.FillText(style, vg.Point{X: x, Y: y}, s)
}

func (p *page) line(width float64, c color.Color, dashes []vg.Length, x1, y1, x2, y2 vg.Length) {
	p.canvas.StrokeLine2(draw.LineStyle{Color: c, Width: vg.Points(width), Dashes: dashes}, x1, y1, x2, y2)
}

func rectangle(x1, y1, x2, y2 vg.Length) vg.Path {
	var path vg.Path
	path.Move(vg.Point{X: x1, Y: y1})
	path.Line(vg.Point{X: x2, Y: y1})
	path.Line(vg.Point{X: x2, Y: y2})
	path.Line(vg.Point{X: x1, Y: y2})
	path.Close()
	return path
}

func (p *page) box(fill color.Color, x1, y1, x2, y2 vg.Length) {
	p.canvas.SetColor(fill)
	p.canvas.Fill(rectangle(x1, y1, x2, y2))
}

// Colours follow IEC 60073 where they mean something: red danger, yellow
// abnormal. Normal is grey. Each also has its letter.
var (
	black = color.Gray{0}
	dark  = color.Gray{70}
	ink   = color.Gray{35}
	pale  = color.Gray{225}
	grey  = color.Gray{190}
	amber = color.RGBA{240, 190, 40, 255}
	red   = color.RGBA{200, 30, 30, 255}
	faint = color.Gray{215}
)

// step is the next round number: 1, 2 or 5 times a power of ten.
func step(atLeast float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(atLeast)))
	for _, factor := range [...]float64{1, 2, 5} {
		if factor*power >= atLeast*(1-1e-9) {
			return factor * power
		}
	}
	return 10 * power
}

// drawTime draws the axis of time under everything.
func drawTime(p *page) {
	unit, name := 1.0, "s"
	switch span := p.until - p.from; {
	case span > 3*86400:
		unit, name = 86400, "d"
	case span > 3*3600:
		unit, name = 3600, "h"
	case span > 300:
		unit, name = 60, "min"
	}
	p.line(0.7, black, nil, p.left, p.top, p.right, p.top)
	each := step((p.until - p.from) / unit / 14)
	for n := math.Ceil(p.from / unit / each); n*each <= p.until/unit*(1+1e-9); n++ {
		x := p.x(n * each * unit)
		p.line(0.7, black, nil, x, p.top, x, p.top-vg.Points(4))
		p.text(strconv.FormatFloat(n*each, 'g', 6, 64), 8, x, p.top-vg.Points(5), draw.XCenter, draw.YTop, black)
	}
	p.text(name, 8, p.right+vg.Points(8), p.top-vg.Points(5), draw.XLeft, draw.YTop, black)
	p.top -= axisHeight
}
