package plot

import (
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"ohmgate/interlock"
)

var whiteInk = color.Gray{255}

// drawMark draws an event: a shape of its own for each kind, black with a white
// rim, so that it is seen on every band and in print.
func (p *page) drawMark(kind interlock.Kind, x, bottom, top vg.Length) {
	size, middle := vg.Points(3.4), (bottom+top)/2
	var path vg.Path
	corner := func(dx, dy vg.Length) {
		point := vg.Point{X: x + dx*size, Y: middle + dy*size}
		if path == nil {
			path.Move(point)
		} else {
			path.Line(point)
		}
	}
	switch kind {
	case interlock.OutputTripped: // points down: it stops
		corner(-1, 0.9)
		corner(1, 0.9)
		corner(0, -1)
	case interlock.OutputEnabled: // points up: it may run
		corner(-1, -0.9)
		corner(1, -0.9)
		corner(0, 1)
	case interlock.ReconnectedEarly:
		corner(0, 1.2)
		corner(1.2, 0)
		corner(0, -1.2)
		corner(-1.2, 0)
	default: // unconfirmed: a square
		corner(-0.9, -0.9)
		corner(0.9, -0.9)
		corner(0.9, 0.9)
		corner(-0.9, 0.9)
	}
	path.Close()
	p.canvas.SetColor(black)
	p.canvas.Fill(path)
	p.canvas.SetColor(whiteInk)
	p.canvas.SetLineWidth(vg.Points(0.6))
	p.canvas.SetLineDash(nil, 0)
	p.canvas.Stroke(path)
}

// drawLegend says what the marks mean.
func (w *Writer) drawLegend(p *page, y vg.Length) {
	x := p.canvas.Min.X + 0.6*vg.Centimeter
	for _, kind := range [...]interlock.Kind{interlock.OutputEnabled, interlock.OutputTripped, interlock.ActuatorUnconfirmed, interlock.ReconnectedEarly} {
		text := kind.String()
		if kind == interlock.ActuatorUnconfirmed {
			text = interlock.ReasonUnconfirmed.String() // no output's name stands beside it
		}
		p.drawMark(kind, x, y-vg.Points(4), y+vg.Points(4))
		p.text(text, smallestText, x+vg.Points(7), y, draw.XLeft, draw.YCenter, dark)
		x += 3.4 * vg.Centimeter
	}
}
