package analyse

import (
	"fmt"
	"sort"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/interlock/page"
)

// Spread is the least, the median and the most of some durations.
type Spread struct {
	Count               int
	Least, Median, Most time.Duration
}

func spreadOf(durations []time.Duration) Spread {
	if len(durations) == 0 {
		return Spread{}
	}
	sorted := append([]time.Duration(nil), durations...)
	sort.Slice(sorted, func(a, b int) bool { return sorted[a] < sorted[b] })
	return Spread{len(sorted), sorted[0], sorted[len(sorted)/2], sorted[len(sorted)-1]}
}

// Row is the timing of one function, or of all (Function zero).
type Row struct {
	Function   modbus.Function
	Questions  int
	Unanswered int
	Refused    int
	Request    Spread // length on the wire
	Turnaround Spread
	Reply      Spread
	Gap        Spread // after the answer, before the next question
	Whole      Spread // question, turnaround and answer
}

// Table is the timing per function, in order, and over all in the last row.
func Table(exchanges []Exchange) []Row {
	var rows []Row
	for _, function := range modbus.Functions {
		var some []Exchange
		for _, exchange := range exchanges {
			if exchange.Request.Function == function {
				some = append(some, exchange)
			}
		}
		if len(some) > 0 {
			rows = append(rows, rowOf(function, some))
		}
	}
	return append(rows, rowOf(0, exchanges))
}

func rowOf(function modbus.Function, exchanges []Exchange) Row {
	row := Row{Function: function, Questions: len(exchanges)}
	var request, turnaround, reply, gap, whole []time.Duration
	for _, exchange := range exchanges {
		request = append(request, exchange.Question.Length())
		if !exchange.Answered {
			if !exchange.Broadcast() {
				row.Unanswered++
			}
			continue
		}
		if exchange.Reply.Exception != 0 {
			row.Refused++
		}
		turnaround = append(turnaround, exchange.Turnaround)
		reply = append(reply, exchange.Answer.Length())
		whole = append(whole, time.Duration(exchange.Answer.End-exchange.Question.Start))
		if exchange.Gap > 0 {
			gap = append(gap, exchange.Gap)
		}
	}
	row.Request, row.Turnaround, row.Reply = spreadOf(request), spreadOf(turnaround), spreadOf(reply)
	row.Gap, row.Whole = spreadOf(gap), spreadOf(whole)
	return row
}

// WriteTable prints rows for people, times in milliseconds as least..most.
func WriteTable(to *page.Page, rows []Row) {
	fmt.Fprintf(to, "%-25s %3s %11s %11s %11s %12s\n", "function", "n", "request ms", "turnaround", "reply", "gap after")
	for _, row := range rows {
		name := "all"
		if row.Function != 0 {
			name = row.Function.String()
		}
		fmt.Fprintf(to, "%-25s %3d %11s %11s %11s %12s\n", name, row.Questions,
			row.Request.text(), row.Turnaround.text(), row.Reply.text(), row.Gap.text())
	}
}

func (s Spread) text() string {
	if s.Count == 0 {
		return "-"
	}
	return fmt.Sprintf("%s..%s", milliseconds(s.Least), milliseconds(s.Most))
}

func milliseconds(d time.Duration) string {
	hundredths := (d + 5*time.Microsecond) / (10 * time.Microsecond)
	return fmt.Sprintf("%d.%02d", hundredths/100, hundredths%100)
}
