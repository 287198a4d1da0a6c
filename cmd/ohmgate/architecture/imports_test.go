package architecture

import (
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport is a statement of policy: which of our own rooms each room may
// import. A name means that room and nothing below it; "/..." after it means the
// room and all below. Of several entries that hold a room the longest counts. DO
// NOT CHANGE THIS DATA TO MAKE A BUILD PASS; move the code instead. Tests are
// exempt.
var mayImport = map[string][]string{
	// The logic, and the words for what it says.
	"monitor":           {},
	"interlock":         {"monitor"},
	"interlock/verdict": {},
	"interlock/page":    {},
	"interlock/tell":    {"monitor", "interlock"},

	// What is given to the logic, and the proof of it.
	"interlock/site":          {"monitor", "interlock", "interlock/page", "interlock/site/quantity"},
	"interlock/site/quantity": {},
	"interlock/fault":         {"monitor", "interlock"},
	"interlock/loop":          {"monitor", "interlock"},
	"interlock/verify/model":  {"monitor", "interlock", "interlock/tell", "interlock/site/..."},
	"interlock/verify/table":  {"monitor", "interlock", "interlock/verify/model"},
	"interlock/verify/search": {"interlock/verify/model", "interlock/verify/table"},
	"interlock/verify/runs":   {"monitor", "interlock", "interlock/verify/model", "interlock/verify/table"},
	"interlock/verify/joint": {"monitor", "interlock", "interlock/verdict", "interlock/verify/model", "interlock/verify/table",
		"interlock/verify/runs"},
	"interlock/verify/fault": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/site/quantity", "interlock/fault", "interlock/verify/model",
		"interlock/verify/table", "interlock/verify/runs"},
	"interlock/verify/graph": {"monitor", "interlock", "interlock/tell", "interlock/loop", "interlock/verify/model", "interlock/verify/table",
		"interlock/verify/runs", "interlock/verify/fault"},
	"interlock/verify": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/site/...", "interlock/fault", "interlock/loop",
		"interlock/verify/..."},
	"interlock/emit/...": {"monitor", "interlock", "interlock/verdict", "interlock/verify/...", "interlock/emit/..."},

	// The simulated plant and the physics.
	"sim": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/site/...", "interlock/fault", "interlock/loop",
		"sim/charge/...", "sim/trace"},
	"sim/charge":          {"sim/charge/interval"},
	"sim/charge/interval": {},
	"sim/reliability":     {},
	"sim/margin":          {"monitor", "interlock", "interlock/page", "interlock/verdict", "interlock/site/...", "sim/charge/...", "sim/reliability"},
	"sim/review": {"monitor", "interlock", "interlock/page", "interlock/verdict", "interlock/site/...", "interlock/fault", "sim/charge/...", "sim/reliability",
		"sim/margin"},

	// Recorded runs.
	"sim/trace":        {"monitor", "interlock", "interlock/tell"},
	"sim/trace/...":    {"monitor", "interlock", "interlock/tell", "sim/trace"},
	"sim/trace/csv":    {"monitor", "interlock", "interlock/tell", "interlock/site/...", "sim/trace"},
	"sim/trace/replay": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/loop", "sim/trace"},

	// The bench.
	"hwio":                 {},
	"hwio/internal/pseudo": {},
	"hwio/internal/hwtest": {"hwio/port"},
	"hwio/port":            {},
	"hwio/modbus":          {"hwio/port"},
	"hwio/scpi":            {"hwio/port"},
	"hwio/sheet":           {"interlock/verdict", "hwio/port"},
	"hwio/record":          {"hwio/port"},
	"hwio/twin":            {"hwio/internal/pseudo", "hwio/port", "hwio/modbus", "hwio/scpi"},
	"hwio/rig/interval":    {"hwio/port", "hwio/sheet"},
	"hwio/rig/wiring":      {"monitor", "interlock", "interlock/site/...", "hwio/port", "hwio/modbus", "hwio/scpi"},
	"hwio/rig/stimulus":    {"monitor", "interlock", "interlock/site/...", "interlock/loop", "hwio/rig/interval", "hwio/rig/wiring"},
	"hwio/rig/judge": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "hwio/port", "hwio/sheet", "hwio/rig/interval",
		"hwio/rig/wiring"},
	"hwio/rig/analyse": {"interlock/page", "interlock/site/quantity", "hwio/port", "hwio/modbus", "hwio/sheet", "hwio/rig/interval",
		"hwio/rig/judge"},
	"hwio/rig/bench": {"monitor", "interlock/verdict", "interlock/site/...", "hwio/port", "hwio/modbus", "hwio/scpi", "hwio/sheet", "hwio/rig/interval",
		"hwio/rig/wiring"},
	"hwio/rig/play": {"monitor", "interlock", "interlock/loop", "hwio/port", "hwio/modbus", "hwio/sheet", "hwio/rig/interval",
		"hwio/rig/wiring", "hwio/rig/stimulus", "hwio/rig/judge", "hwio/rig/bench"},
	"hwio/rig": {"monitor", "interlock", "interlock/verdict", "interlock/loop", "hwio/port", "hwio/sheet", "hwio/rig/interval",
		"hwio/rig/wiring", "hwio/rig/judge", "hwio/rig/bench", "hwio/rig/play"},
	"hwio/rig/twinbench": {"monitor", "interlock", "interlock/site/...", "interlock/loop", "hwio/port", "hwio/modbus", "hwio/scpi", "hwio/twin",
		"hwio/rig/wiring"},

	// The program: verbs, and below them what serves several.
	"cmd/ohmgate":     {"monitor", "interlock/...", "sim/...", "hwio/...", "cmd/ohmgate/..."},
	"cmd/ohmgate/...": {"monitor", "interlock/...", "sim/...", "hwio/...", "cmd/ohmgate/..."},
	"cmd/ohmgate/live/...": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/site/...", "interlock/loop", "sim/trace",
		"cmd/ohmgate/live/..."},
	"cmd/ohmgate/journal": {"monitor", "interlock", "interlock/verdict", "interlock/tell", "interlock/loop", "cmd/ohmgate/live"},
	"cmd/ohmgate/page":    {},
}

// onlyIn names packages from outside that a single room may import.
var onlyIn = map[string]string{"go.bug.st/serial": "hwio/port"}

// policyFor is the longest entry that holds this room.
func policyFor(room string) (string, []string, bool) {
	if allowed, ok := mayImport[room]; ok {
		return room, allowed, true
	}
	for at := room; ; at = at[:strings.LastIndexByte(at, '/')] {
		if allowed, ok := mayImport[at+"/..."]; ok {
			return at + "/...", allowed, true
		}
		if !strings.Contains(at, "/") {
			return "", nil, false
		}
	}
}

func within(room, parent string) bool { return room == parent || strings.HasPrefix(room, parent+"/") }

// means says whether an entry of a list of imports means this room.
func means(entry, room string) bool {
	parent, below := strings.CutSuffix(entry, "/...")
	return entry == room || below && within(room, parent)
}

// violations lists what one file imports against the policy.
func violations(f sourceFile) []string {
	entry, allowed, known := policyFor(f.room)
	if !known {
		return []string{f.path + ": no entry of mayImport holds " + f.room}
	}
	var found []string
	for _, spec := range f.syntax.Imports {
		path, _ := strconv.Unquote(spec.Path.Value)
		for banned, room := range onlyIn {
			if within(path, banned) && f.room != room {
				found = append(found, f.path+": only "+room+" may import "+path)
			}
		}
		room, ours := strings.CutPrefix(path, module+"/")
		if ours && !slices.ContainsFunc(allowed, func(a string) bool { return means(a, room) }) {
			found = append(found, f.path+": "+entry+" must not import "+room)
		}
	}
	return found
}

func TestImportRules(t *testing.T) {
	used := map[string]bool{}
	for _, f := range sources(t) {
		if f.test {
			continue
		}
		for _, v := range violations(f) {
			t.Error(v)
		}
		entry, _, _ := policyFor(f.room)
		used[entry] = true
	}
	for entry := range mayImport {
		if !used[entry] {
			t.Errorf("mayImport has an entry for %s, and there is no such room", entry)
		}
	}
}

// What the rules forbid is planted, and each is found.
func TestImportRulesBite(t *testing.T) {
	for _, c := range []struct{ room, imports string }{
		{"monitor", "interlock"}, {"interlock", "interlock/site"}, {"interlock", "interlock/tell"}, {"interlock", "interlock/verdict"}, {"interlock/page", "interlock/verdict"},
		{"interlock/verdict", "monitor"}, {"interlock/tell", "interlock/site"}, {"interlock/fault", "interlock/verify"},
		{"interlock/verify", "sim"}, {"interlock/verify/graph", "hwio/rig"}, {"interlock/site", "interlock/verify"},
		{"interlock/verify/joint", "interlock/verify"}, {"interlock/verify/search", "interlock/verify/runs"}, {"interlock/verify/elsewhere", "monitor"},
		{"interlock/verify/runs", "interlock/verify/fault"}, {"interlock/verify/table", "interlock/site"},
		{"interlock/loop", "interlock/verify"}, {"interlock/loop", "interlock/verify/run"},
		{"sim", "hwio/modbus"}, {"sim", "interlock/verify"}, {"sim", "interlock/verify/run"}, {"sim", "sim/trace/csv"},
		{"sim/charge", "monitor"}, {"sim/margin", "interlock/verify"}, {"sim/review", "interlock/verify/model"},
		{"sim/trace", "interlock/verify"}, {"sim/trace", "interlock/site"}, {"sim/trace/csv", "interlock/verify"}, {"sim/trace/vcd", "sim"},
		{"hwio/modbus", "sim/trace"}, {"hwio/modbus", "interlock/verify"}, {"hwio/modbus", "interlock"},
		{"hwio/rig", "cmd/ohmgate/live"}, {"hwio/rig", "interlock/verify"}, {"hwio/rig/judge", "interlock/verify/graph"}, {"hwio/rig", "hwio/twin"},
		{"cmd/ohmgate/live", "interlock/verify"}, {"cmd/ohmgate/live/web", "hwio/rig"},
		{"elsewhere", "monitor"}, {"interlock/elsewhere", "monitor"}, {"sim/elsewhere", "monitor"}, {"hwio/elsewhere", "hwio/port"},
	} {
		f := parse(t, c.room+"/planted.go", "package p\nimport _ \"ohmgate/"+c.imports+"\"\n")
		if len(violations(f)) != 1 {
			t.Errorf("%s imports %s, said was %q", c.room, c.imports, violations(f))
		}
	}
	outside := parse(t, "hwio/modbus/planted.go", "package p\nimport _ \"go.bug.st/serial/enumerator\"\n")
	if len(violations(outside)) != 1 {
		t.Errorf("hwio/modbus imports the serial library, said was %q", violations(outside))
	}
}
