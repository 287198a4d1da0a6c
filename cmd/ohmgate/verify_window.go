package main

import (
	"fmt"
	"image/color"
	"io"
	"path/filepath"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// windowMap prints the room between danger and nuisance for one channel.
func windowMap(out, errs io.Writer, s *site.Site, m *model.Model, o *verifyOptions) error {
	kind := strings.TrimPrefix(filepath.Ext(o.plot), ".")
	if o.plot != "" && kind != "svg" && kind != "png" {
		return failed(exitInput, "--plot %q: the name must end in .svg or .png", o.plot)
	}
	options, end := o.options(errs)
	w, err := verify.MakeWindow(s, o.window, options)
	end()
	if err != nil {
		return failed(exitInput, "a window of %s: %v", o.window, err)
	}
	if o.plot != "" {
		err := writeBeside(o.plot, func(f io.Writer) error { return plotWindow(f, w, kind) })
		if err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	code := w.Verdict().Exit()
	return finish(out, o.json, code, struct {
		siteHead
		Verdict verdict.Verdict `json:"verdict"`
		*verify.Window
	}{headOf("verify --window", m, code), w.Verdict(), w}, func(p *page.Page) { tellWindow(p, w) })
}

var windowMarks = map[verify.WindowVerdict]string{
	verify.WindowShown: "#", verify.WindowViolated: "v", verify.WindowTrips: "t", verify.WindowBoth: "x", verify.WindowRefused: "-",
}

func tellWindow(out *page.Page, w *verify.Window) {
	disturbance := "no property of kind tolerates declares a disturbance"
	if w.Disturbance > 0 {
		disturbance = "a disturbance of " + quantity.Duration(w.Disturbance) + " must not trip"
	}
	out.Hang("", fmt.Sprintf("%s, class %s: %s are available at %s; %s (from %s).", w.Channel, w.Class, quantity.Duration(w.Available), w.Output, disturbance, strings.Join(w.From, ", ")))
	fmt.Fprintf(out, "# shown   v violated: too late   t trips on the disturbance   x both\n- refused: could not be loaded\n\n")
	first, last := w.Patiences[0], w.Patiences[len(w.Patiences)-1]
	out.Hang("", fmt.Sprintf("From left to right the patience, %s to %s in %s:", rounded(first), rounded(last), counted(len(w.Patiences), "step")))
	fmt.Fprintf(out, "%-8s %-24s %-*s  %s\n", "scan", "settle", len(w.Patiences), "", "shown with patience")
	for p, period := range w.Periods {
		tellPeriod(out, w, p, quantity.Duration(period))
	}
	c := w.Configured
	fmt.Fprintln(out)
	out.Hang("as configured: ", fmt.Sprintf("scan %s, settle %s, patience %s: %s", quantity.Duration(c.Period), quantity.Duration(c.Settle), quantity.Duration(c.Patience), c.Found))
	if c.Found == verify.WindowRefused {
		out.Hang("  ", c.Says)
	} else {
		fmt.Fprintf(out, "worst detection %s, guaranteed patience %s, bond after %s\n", quantity.Duration(c.Detect), quantity.Duration(c.Forgives), quantity.Duration(c.Ready))
	}
	fmt.Fprintf(out, "verdict: %s\n", w.Verdict())
}

// tellPeriod prints the lines of one scan period; settle times of which the same
// is found share one.
func tellPeriod(out *page.Page, w *verify.Window, p int, name string) {
	marks := func(settle int) (line string) {
		for k := range w.Patiences {
			line += windowMarks[w.Cell(p, settle, k).Found]
		}
		return line
	}
	for i := 0; i < len(w.Settles); {
		line := marks(i)
		frontier := "none"
		if from, to, ok := w.Frontier(p, i); ok {
			frontier = rounded(from) + " to " + rounded(to)
		}
		var settles []string
		for ; i < len(w.Settles) && marks(i) == line; i++ {
			settles = append(settles, rounded(w.Settles[i]))
		}
		fmt.Fprintf(out, "%-8s %-24s %s  %s\n", name, strings.Join(settles, ", "), line, frontier)
		name = ""
	}
}

// rounded is a time as far as a map of this size can tell.
func rounded(d time.Duration) string { return quantity.Duration(d.Round(100 * time.Microsecond)) }

// windowShapes give every finding its own mark: nothing is told by colour alone.
var windowShapes = map[verify.WindowVerdict]draw.GlyphDrawer{
	verify.WindowShown: draw.BoxGlyph{}, verify.WindowViolated: draw.TriangleGlyph{}, verify.WindowTrips: draw.CrossGlyph{},
	verify.WindowBoth: draw.PlusGlyph{}, verify.WindowRefused: draw.RingGlyph{},
}

// plotWindow draws the map at the configured settle time.
func plotWindow(out io.Writer, w *verify.Window, kind string) error {
	p := plot.New()
	middle := len(w.Settles) / 2
	p.Title.Text = fmt.Sprintf("%s, class %s, settle time %s", w.Channel, w.Class, quantity.Duration(w.Settles[middle]))
	p.Title.Padding = vg.Points(6)
	p.X.Label.Text, p.Y.Label.Text = "patience in ms", "scan period in ms"
	// At the left the text runs away from its mark, however wide a reader's font.
	p.Legend.Top, p.Legend.Left, p.Legend.Padding = true, true, vg.Points(3)
	p.Legend.ThumbnailWidth, p.Legend.XOffs = vg.Points(20), vg.Points(8)
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
	writer, err := p.WriterTo(18*vg.Centimeter, 10*vg.Centimeter, kind)
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
