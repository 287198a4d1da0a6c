package sheet

import (
	"html/template"
	"io"
)

// pageData is what the page shows.
type pageData struct {
	File   string
	Hash   string
	Sheets []Sheet
}

// WritePage writes all sheets as one page for printing: no script, nothing fetched, black on white, words beside every mark.
func WritePage(to io.Writer, file string, report *Report) error {
	return page.Execute(to, pageData{File: file, Hash: report.Head, Sheets: report.Sheets})
}

var page = template.Must(template.New("page").Parse(`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Test sheets: {{.File}}</title>
<style>
body{font:11pt/1.35 sans-serif;color:#000;background:#fff;max-width:19cm;margin:1cm auto;padding:0 .5cm}
h1{font-size:15pt}h2{font-size:13pt;margin-top:1.2em}table{border-collapse:collapse;width:100%;margin:.4em 0}
th,td{border:1px solid #666;padding:.15em .4em;text-align:left;vertical-align:top;overflow-wrap:anywhere}
th{background:#eee}.facts th{width:30%}.violated{font-weight:bold;border:2px solid #000}.hash{font-family:monospace;font-size:9pt;overflow-wrap:anywhere}
.sign{margin-top:1.6em;display:flex;gap:1cm}.sign div{flex:1;border-top:1px solid #000;padding-top:.2em;font-size:9pt}
.blank{color:#000;border-bottom:1px dotted #000;display:inline-block;min-width:6cm}
@media print{section{break-after:page}body{margin:0}}
</style></head><body>
<h1>Test sheets</h1>
<p>From the record {{.File}}. Last hash, to be copied by whoever signs: <span class="hash">{{.Hash}}</span></p>
<p>These sheets show what was measured on one bench. They are no certificate, and they do not replace the standards, local
codes, a licensed engineer or a proof test of the real installation.</p>
{{range $number, $s := .Sheets}}<section>
<h2>{{$s.Head.Scenario}}, run {{$s.Head.Run}} of {{$s.Head.Runs}}{{if $s.Head.Retest}}, retest {{$s.Head.Retest}}{{end}}: {{$s.Verdict}}</h2>
<table class="facts">
<tr><th>Site</th><td>{{$s.Head.Site}} <span class="hash">{{$s.Head.SiteHash}}</span></td></tr>
<tr><th>Scenario</th><td>{{$s.Head.Scenario}} <span class="hash">{{$s.Head.ScenarioHash}}</span></td></tr>
<tr><th>Begun, ended (UTC)</th><td>{{$s.Begun}}, {{if $s.Ended}}{{$s.Ended}}{{else}}never: the record breaks off{{end}}</td></tr>
<tr><th>Mode, condition</th><td>{{$s.Head.Mode}}{{if $s.Head.Twin}} on the twin, no hardware ({{$s.Head.Twin}}){{end}}, {{$s.Head.Condition}}</td></tr>
<tr><th>Confirmed before</th><td>{{$s.Head.Confirmed}}</td></tr>
<tr><th>Tester</th><td>{{or $s.Head.Tester "not named"}}</td></tr>
<tr><th>Witness</th><td>{{or $s.Head.Witness "not named"}}</td></tr>
<tr><th>Temperature, humidity</th><td>{{or $s.Head.Temperature "not noted"}}, {{or $s.Head.Humidity "not noted"}}</td></tr>
<tr><th>Program</th><td>{{$s.Head.Tool}}</td></tr>
{{if $s.Head.Remark}}<tr><th>Remark</th><td>{{$s.Head.Remark}}</td></tr>{{end}}
{{range $s.Head.Notes}}<tr><th>Note</th><td>{{.}}</td></tr>{{end}}
<tr><th>Rig after the run</th><td>{{$s.State}}{{if $s.End}} ({{$s.End.Reason}}){{end}}</td></tr>
</table>
{{if $s.Head.Instruments}}<table><tr><th>Instrument</th><th>Kind</th><th>Where</th><th>Identity</th><th>Serial</th><th>Calibration due</th></tr>
{{range $s.Head.Instruments}}<tr><td>{{.Name}}</td><td>{{.Kind}}</td><td>{{.Where}}</td><td>{{.Identity}}</td><td>{{or .Serial "not noted"}}</td><td>{{or .CalibrationDue "not noted"}}</td></tr>
{{end}}</table>{{end}}
{{if $s.Checks}}<table><tr><th>Before the run</th><th>Result</th><th>What was seen</th></tr>
{{range $s.Checks}}<tr><td>{{.Name}}</td><td>{{.Verdict}}</td><td>{{.Text}}</td></tr>
{{end}}</table>{{end}}
<table><tr><th>At</th><th>Output</th><th>Stimulus</th><th>Measured</th><th>Bound</th><th>Result</th></tr>
{{range $s.Steps}}<tr{{if eq .Verdict "violated"}} class="violated"{{end}}><td>{{printf "%.3f s" .At}}</td><td>{{.Output}} {{.Change}}</td><td>{{.Stimulus}}</td><td>{{.Measured}}</td><td>{{.Bound.Exact}}<br>{{.Source}}</td><td>{{.Verdict}}: {{.Text}}</td></tr>
{{else}}<tr><td colspan="6">No step was judged: nothing checked.</td></tr>
{{end}}</table>
{{if $s.End}}{{if $s.End.Expected}}<table><tr><th>At</th><th>Expectation of the scenario</th><th>Judged on</th><th>Result</th></tr>
{{range $s.End.Expected}}<tr{{if eq .Verdict "violated"}} class="violated"{{end}}><td>{{printf "%.3f s" .At}}</td><td>{{.Text}}</td><td>{{or .On "nothing"}}</td><td>{{.Verdict}}: {{.Detail}}</td></tr>
{{end}}</table>{{end}}{{if $s.End.Statement}}<p>{{$s.End.Statement}}</p>{{end}}{{end}}
<p>Hash of this sheet's last entry: <span class="hash">{{$s.HeadHash}}</span></p>
<div class="sign"><div>Tester, date</div><div>Witness, date</div></div>
</section>
{{end}}</body></html>
`))
