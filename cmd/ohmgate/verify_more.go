package main

import (
	"encoding/json"
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

// encode prints a document as JSON.
func encode(out io.Writer, document any) error {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(document); err != nil {
		return failed(exitLost, "%w", err)
	}
	return nil
}

// jsonHead begins every JSON document of the verb.
type jsonHead struct {
	Schema int    `json:"schema"`
	Verb   string `json:"verb"`
	Tool   string `json:"tool"`
	Exit   int    `json:"exit"`
}

// siteHead begins those that are about a site.
type siteHead struct {
	jsonHead
	Site string `json:"site"`
	Hash string `json:"site_hash"`
}

func headOf(verb string, m *verify.Model, code exitCode) siteHead {
	return siteHead{jsonHead{1, verb, toolVersion(), int(code)}, m.Site, m.Hash}
}

// selfCheck plants every mutant into the logic and shows that each is caught.
func selfCheck(out, errs io.Writer, o *verifyOptions) error {
	options, end, err := o.options(errs)
	if err != nil {
		return err
	}
	report, err := verify.SelfCheck(options)
	end()
	if err != nil {
		return failed(exitInternal, "%w", err)
	}
	code := verdictCode(report.Verdict())
	if o.json {
		err := encode(out, struct {
			jsonHead
			*verify.SelfReport
		}{jsonHead{1, "verify --self-check", toolVersion(), int(code)}, report})
		if err != nil {
			return err
		}
		return ended(code)
	}
	tellSelfCheck(out, report)
	return ended(code)
}

func tellSelfCheck(out io.Writer, r *verify.SelfReport) {
	caught, kind := 0, ""
	for _, c := range r.Mutants {
		if c.Kind != kind {
			kind = c.Kind
		}
		mark := "NOT CAUGHT"
		if c.Caught {
			caught++
			mark = "caught"
		}
		fmt.Fprintf(out, "%-10s %-16s %s\n", mark, c.Kind, clip(c.Mutant, verifyWidth-28))
	}
	fmt.Fprintln(out)
	for number := 1; number <= 15; number++ {
		names := r.ByProperty[fmt.Sprint(number)]
		if len(names) == 0 {
			fmt.Fprintf(out, "property %-2d catches NO mutant\n", number)
			continue
		}
		fmt.Fprintf(out, "property %-2d catches %2d, such as: %s\n", number, len(names), clip(names[0], verifyWidth-34))
	}
	fmt.Fprintf(out, "\nthe logic itself: %s; mutants caught: %d of %d\n", r.Unchanged, caught, len(r.Mutants))
	fmt.Fprintf(out, "verdict: %s\n", r.Verdict())
}

// windowMap prints the room between danger and nuisance for one channel.
func windowMap(out, errs io.Writer, s *site.Site, m *verify.Model, o *verifyOptions) error {
	options, end, err := o.options(errs)
	if err != nil {
		return err
	}
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
	p.Legend.Top = true
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
	writer, err := p.WriterTo(18*vg.Centimeter, 10*vg.Centimeter, "svg")
	if err != nil {
		return err
	}
	_, err = writer.WriteTo(out)
	return err
}

func milliseconds(d time.Duration) float64 { return d.Seconds() * 1000 }
