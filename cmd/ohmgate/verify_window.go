package main

import (
	"fmt"
	"image/color"
	"io"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
)

// windowMap prints the room between danger and nuisance for one channel.
func windowMap(out, errs io.Writer, s *site.Site, m *verify.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	w, err := verify.MakeWindow(s, o.window, options)
	end()
	if err != nil {
		return failed(exitInput, "--window %s: %v", o.window, err)
	}
	if o.plot != "" {
		err := writeBeside(o.plot, func(f io.Writer) error { return plotWindow(f, w) })
		if err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	code := verdictCode(w.Verdict())
	if o.json {
		err := encode(out, struct {
			siteHead
			Verdict verify.Verdict `json:"verdict"`
			*verify.Window
		}{headOf("verify --window", m, code), w.Verdict(), w})
		if err != nil {
			return err
		}
		return ended(code)
	}
	tellWindow(out, w)
	return ended(code)
}

var windowMarks = map[verify.WindowVerdict]string{
	verify.WindowShown: "#", verify.WindowViolated: "v", verify.WindowTrips: "t", verify.WindowBoth: "x", verify.WindowRefused: "-",
}

func tellWindow(out io.Writer, w *verify.Window) {
	tellWrapped(out, w.Channel+": ", fmt.Sprintf("class %s: %v available at %s, disturbance %v (%s)", w.Class, w.Available, w.Output, w.Disturbance, strings.Join(w.From, ", ")))
	fmt.Fprintf(out, "# shown   v violated: too late   t trips on the disturbance   x both\n- refused: could not be loaded\n\n")
	first, last := w.Patiences[0], w.Patiences[len(w.Patiences)-1]
	for p, period := range w.Periods {
		fmt.Fprintf(out, "scan %v, patience %v to %v in %d steps\n", period, round(first), round(last), len(w.Patiences))
		for i, settle := range w.Settles {
			line := ""
			for k := range w.Patiences {
				line += windowMarks[w.Cell(p, i, k).Found]
			}
			frontier := "no window"
			if from, to, ok := w.Frontier(p, i); ok {
				frontier = fmt.Sprintf("window %v .. %v", round(from), round(to))
			}
			fmt.Fprintf(out, "  settle %-8v %s  %s\n", settle, line, frontier)
		}
	}
	c := w.Configured
	fmt.Fprintf(out, "\nas configured: scan %v, settle %v, patience %v: %s\n", c.Period, c.Settle, c.Patience, c.Found)
	fmt.Fprintf(out, "worst detection %v, guaranteed patience %v, bond after %v\n", c.Detect, c.Forgives, c.Ready)
	fmt.Fprintf(out, "verdict: %s\n", w.Verdict())
}

func round(d time.Duration) time.Duration { return d.Round(100 * time.Microsecond) }

// windowShapes give every finding its own mark: nothing is told by colour alone.
var windowShapes = map[verify.WindowVerdict]draw.GlyphDrawer{
	verify.WindowShown: draw.BoxGlyph{}, verify.WindowViolated: draw.TriangleGlyph{}, verify.WindowTrips: draw.CrossGlyph{},
	verify.WindowBoth: draw.PlusGlyph{}, verify.WindowRefused: draw.RingGlyph{},
}

// plotWindow draws the map at the configured settle time as SVG.
func plotWindow(out io.Writer, w *verify.Window) error {
	p := plot.New()
	p.Title.Text = fmt.Sprintf("%s, class %s: patience and scan period", w.Channel, w.Class)
	p.X.Label.Text, p.Y.Label.Text = "patience in ms", "scan period in ms"
	p.Legend.Top, p.Legend.Padding = true, vg.Points(3)
	middle := len(w.Settles) / 2
	for _, found := range []verify.WindowVerdict{verify.WindowShown, verify.WindowViolated, verify.WindowTrips, verify.WindowBoth, verify.WindowRefused} {
		var points plotter.XYs
		for i := range w.Periods {
			for k := range w.Patiences {
				if c := w.Cell(i, middle, k); c.Found == found {
					points = append(points, plotter.XY{X: milliseconds(c.Patience), Y: milliseconds(c.Period)})
				}
			}
		}
		if len(points) == 0 {
			continue
		}
		scatter, err := plotter.NewScatter(points)
		if err != nil {
			return err
		}
		scatter.GlyphStyle = draw.GlyphStyle{Color: color.Gray{Y: 40}, Radius: vg.Points(4), Shape: windowShapes[found]}
		p.Add(scatter)
		p.Legend.Add(string(found), scatter)
	}
	if err := markConfigured(p, w); err != nil {
		return err
	}
	writer, err := p.WriterTo(18*vg.Centimeter, 10*vg.Centimeter, "svg")
	if err != nil {
		return err
	}
	_, err = writer.WriteTo(out)
	return err
}

// markConfigured rings the setting of the file, and leaves room at the edges and
// for the legend above.
func markConfigured(p *plot.Plot, w *verify.Window) error {
	c := w.Configured
	mark, err := plotter.NewScatter(plotter.XYs{{X: milliseconds(c.Patience), Y: milliseconds(c.Period)}})
	if err != nil {
		return err
	}
	mark.GlyphStyle = draw.GlyphStyle{Color: color.Black, Radius: vg.Points(6), Shape: draw.RingGlyph{}}
	p.Add(mark)
	p.Legend.Add("as configured", mark)
	p.X.Min, p.X.Max = 0, p.X.Max*1.03
	p.Y.Min, p.Y.Max = 0, p.Y.Max*1.5
	return nil
}

func milliseconds(d time.Duration) float64 { return d.Seconds() * 1000 }
