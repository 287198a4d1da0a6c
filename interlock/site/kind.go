package site

import (
	"fmt"
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// simple is a value that is one scalar.
type simple[T any] struct {
	made schema
	// take reads the text; a problem is told by text and instead.
	take func(r *reader, n *node, path string, into *T) (text, instead string)
}

func (v simple[T]) schema() schema { return v.made }

func (v simple[T]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, scalar, "write one value") {
		return
	}
	if text, instead := v.take(r, n, path, into); text != "" {
		r.complain(n.at, text, instead)
		return
	}
	r.read[path] = true
}

func scalarOf[T any](made schema, take func(r *reader, n *node, path string, into *T) (text, instead string)) value[T] {
	return simple[T]{made, take}
}

// text is any text for people.
func text[T any](to func(*T) *string) value[T] {
	return scalarOf(schema{"type": []any{"string", "number", "boolean"}}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		*to(into) = strings.TrimSpace(n.text)
		if *to(into) == "" {
			return "the text is empty", "write it, or delete the key"
		}
		return "", ""
	})
}

// optionalText is any text, or an empty one.
func optionalText[T any](to func(*T) *string) value[T] {
	return scalarOf(schema{"type": []any{"string", "number", "boolean"}}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		*to(into) = strings.TrimSpace(n.text)
		return "", ""
	})
}

// oneOf is one word of a few.
func oneOf[T any](to func(*T) *string, options ...string) value[T] {
	listed := make([]any, len(options))
	for i, word := range options {
		listed[i] = word
	}
	return scalarOf(schema{"enum": listed}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		for _, word := range options {
			if n.text == word {
				*to(into) = word
				return "", ""
			}
		}
		instead := "write " + strings.Join(options, " or ")
		if meant := nearest(strings.ToLower(n.text), options); meant != "" {
			instead = "write " + meant
		}
		return fmt.Sprintf("%q is none of %s", cut(n.text), strings.Join(options, ", ")), instead
	})
}

// yesNo is a plain answer.
func yesNo[T any](to func(*T) *bool) value[T] {
	return scalarOf(schema{"enum": []any{"yes", "no", true, false}}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		switch n.text {
		case "yes", "true":
			*to(into) = true
		case "no", "false":
			*to(into) = false
		default:
			return fmt.Sprintf("%q is neither yes nor no", cut(n.text)), "write yes or no"
		}
		return "", ""
	})
}

// count is a whole number without a unit.
func count[T any](to func(*T) *int, least, most int) value[T] {
	return scalarOf(schema{"type": "integer", "minimum": least, "maximum": most, "examples": []any{least}}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		number, err := strconv.Atoi(n.text)
		if err != nil {
			return fmt.Sprintf("%q is no whole number", cut(n.text)), fmt.Sprintf("write a number from %d to %d", least, most)
		}
		if number < least || number > most {
			return fmt.Sprintf("%d is not from %d to %d", number, least, most), fmt.Sprintf("write a number from %d to %d", least, most)
		}
		*to(into) = number
		return "", ""
	})
}

func quantitySchema(d quantity.Dimension, interval bool) schema {
	made := schema{"type": "string", "pattern": quantity.Pattern(d, interval), "examples": []any{d.Example()}}
	if d == quantity.Number {
		made["type"] = []any{"string", "number"}
	}
	return made
}

// ohms is one resistance, exact in micro-ohms.
func ohms[T any](to func(*T) *monitor.Microohm) value[T] {
	return scalarOf(quantitySchema(quantity.Resistance, false), func(_ *reader, n *node, _ string, into *T) (string, string) {
		exact, wrong := quantity.Single(n.text, quantity.Resistance)
		if wrong != nil {
			return wrong.Text, wrong.Instead
		}
		micro, whole := quantity.Int(exact, 1e6)
		switch {
		case exact.Cmp(big.NewRat(1e12, 1)) > 0:
			return fmt.Sprintf("%q is above 1 TΩ", cut(n.text)), "write at most 1 TΩ"
		case !whole:
			return fmt.Sprintf("%q is finer than 1 uΩ", cut(n.text)), "write a whole number of uΩ"
		}
		*to(into) = monitor.Microohm(micro)
		return "", ""
	})
}

// asTime turns an exact time into nanoseconds.
func asTime(exact *big.Rat, shown string) (d time.Duration, text, instead string) {
	nanos, whole := quantity.Int(exact, 1e9)
	switch {
	case exact.Cmp(big.NewRat(9e9, 1)) > 0:
		return 0, fmt.Sprintf("%q is longer than any counter of scans", cut(shown)), "write a shorter time"
	case !whole:
		return 0, fmt.Sprintf("%q is finer than 1 ns", cut(shown)), "write a whole number of ns"
	}
	return time.Duration(nanos), "", ""
}

// duration is one time.
func duration[T any](to func(*T) *time.Duration) value[T] {
	return scalarOf(quantitySchema(quantity.Time, false), func(_ *reader, n *node, _ string, into *T) (string, string) {
		return takeTime(n, to(into))
	})
}

func takeTime(n *node, to *time.Duration) (text, instead string) {
	exact, wrong := quantity.Single(n.text, quantity.Time)
	if wrong != nil {
		return wrong.Text, wrong.Instead
	}
	d, text, instead := asTime(exact, n.text)
	if text == "" {
		*to = d
	}
	return text, instead
}

// scans is a time that the logic counts in scans: at least one, or none at all.
func scans[T any](to func(*T) *time.Duration) value[T] {
	return scalarOf(quantitySchema(quantity.Time, false), func(r *reader, n *node, _ string, into *T) (string, string) {
		text, instead := takeTime(n, to(into))
		if text == "" {
			r.times = append(r.times, timed{*to(into), n.at})
		}
		return text, instead
	})
}

// times is an interval of time, exact.
func times[T any](lo, hi func(*T) *time.Duration) value[T] {
	return scalarOf(quantitySchema(quantity.Time, true), func(_ *reader, n *node, _ string, into *T) (string, string) {
		ends, wrong := quantity.Parse(n.text, quantity.Time)
		if wrong != nil {
			return wrong.Text, wrong.Instead
		}
		for _, end := range []struct {
			exact *big.Rat
			to    *time.Duration
		}{{ends.Lo, lo(into)}, {ends.Hi, hi(into)}} {
			d, text, instead := asTime(end.exact, n.text)
			if text != "" {
				return text, instead
			}
			*end.to = d
		}
		return "", ""
	})
}

// span is a quantity of the physics, as an interval.
func span[T any](d quantity.Dimension, to func(*T) *Span) value[T] {
	return scalarOf(quantitySchema(d, true), func(_ *reader, n *node, _ string, into *T) (string, string) {
		ends, wrong := quantity.Parse(n.text, d)
		if wrong != nil {
			return wrong.Text, wrong.Instead
		}
		lo, hi := ends.Floats()
		*to(into) = Span{lo, hi, true}
		return "", ""
	})
}

// float is one value of the physics.
func float[T any](d quantity.Dimension, to func(*T) *float64) value[T] {
	return scalarOf(quantitySchema(d, false), func(_ *reader, n *node, _ string, into *T) (string, string) {
		exact, wrong := quantity.Single(n.text, d)
		if wrong != nil {
			return wrong.Text, wrong.Instead
		}
		*to(into), _ = exact.Float64()
		return "", ""
	})
}

// floats is a list of values of the physics.
func floats[T any](d quantity.Dimension, to func(*T) *[]float64) value[T] {
	return listOf(float(d, func(f *float64) *float64 { return f }), to, 64)
}

// matching is a text of a given form.
func matching[T any](pattern, example, what string, to func(*T, []string)) value[T] {
	compiled := regexp.MustCompile(pattern)
	return scalarOf(schema{"type": "string", "pattern": pattern, "examples": []any{example}}, func(_ *reader, n *node, _ string, into *T) (string, string) {
		parts := compiled.FindStringSubmatch(n.text)
		if parts == nil {
			return fmt.Sprintf("%q is not %s", cut(n.text), what), "write " + example
		}
		to(into, parts)
		return "", ""
	})
}

// refer is the name of a thing that the file declares. Of an input, uses lists
// what it may be declared for.
func refer[T any](to func(*T) *string, want thing, uses ...string) value[T] {
	made := schema{"type": "string", "pattern": namePattern}
	return simpleReference[T]{made, to, want, uses}
}

type simpleReference[T any] struct {
	made schema
	to   func(*T) *string
	want thing
	uses []string
}

func (v simpleReference[T]) schema() schema { return v.made }

func (v simpleReference[T]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, scalar, "write one name") {
		return
	}
	*v.to(into) = n.text
	r.references = append(r.references, reference{n.text, path, n.at, v.want, v.uses})
}

// referAll is a list of names, each once.
func referAll[T any](to func(*T) *[]string, want thing) value[T] {
	return listOf(refer(func(s *string) *string { return s }, want), to, 512)
}

// expression is a permissive over the given things.
func expression[T any](to func(*T) *string, want thing) value[T] {
	return scalarOf(schema{"type": "string", "minLength": 1}, func(r *reader, n *node, path string, into *T) (string, string) {
		*to(into) = strings.TrimSpace(n.text)
		r.expressions = append(r.expressions, formula{n.text, path, n, want})
		return "", ""
	})
}

// several is a list of values.
type several[T, U any] struct {
	item value[U]
	to   func(*T) *[]U
	most int
}

func listOf[T, U any](item value[U], to func(*T) *[]U, most int) value[T] {
	return several[T, U]{item, to, most}
}

func (v several[T, U]) schema() schema {
	return schema{"type": "array", "items": v.item.schema(), "maxItems": v.most}
}

func (v several[T, U]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, list, "write a list: [first, second]") {
		return
	}
	if len(n.items) > v.most {
		r.complain(n.items[v.most].at, fmt.Sprintf("more than %d in this list", v.most), "shorten it")
		return
	}
	seen := map[string]bool{}
	for i, item := range n.items {
		at := fmt.Sprintf("%s.%d", path, i)
		r.enter(at, item.at, item)
		if item.shape == scalar && seen[item.text] {
			r.complain(item.at, fmt.Sprintf("%q stands twice in this list", cut(item.text)), "keep one")
			continue
		}
		seen[item.text] = item.shape == scalar
		var made U
		v.item.read(r, item, at, &made)
		*v.to(into) = append(*v.to(into), made)
	}
	r.read[path] = true
}

// group is a section within a section.
type group[T, U any] struct {
	inner fields[U]
	to    func(*T) *U
}

func section[T, U any](inner fields[U], to func(*T) *U) value[T] { return group[T, U]{inner, to} }

func (v group[T, U]) schema() schema { return v.inner.schema() }

func (v group[T, U]) read(r *reader, n *node, path string, into *T) {
	v.inner.read(r, n, path, v.to(into))
}

// catalogue is a section of named things.
type catalogue[T, U any] struct {
	inner fields[U]
	what  thing
	most  int
	to    func(*T) *[]U
	name  func(*U) *string
}

func named[T, U any](inner fields[U], what thing, most int, to func(*T) *[]U, name func(*U) *string) value[T] {
	return catalogue[T, U]{inner, what, most, to, name}
}

func (v catalogue[T, U]) schema() schema {
	return schema{"type": "object", "propertyNames": schema{"pattern": namePattern}, "maxProperties": v.most, "additionalProperties": v.inner.schema()}
}

func (v catalogue[T, U]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, mapping, fmt.Sprintf("write \"name:\" and below it what the %s is", v.what)) {
		return
	}
	for i, e := range n.entries {
		if i == v.most {
			r.complain(e.at, fmt.Sprintf("more than %d of kind %s", v.most, v.what), "split the plant into several sites")
			return
		}
		var made U
		*v.name(&made) = e.key
		at := join(path, e.key)
		fresh := r.declare(e.key, v.what, e.at)
		if !fresh {
			at = fmt.Sprintf("%s.%d", path, i) // a path of its own for its keys
		}
		r.enter(at, e.at, e.value)
		v.inner.read(r, e.value, at, &made)
		if fresh {
			*v.to(into) = append(*v.to(into), made)
		}
	}
	r.read[path] = true
}

// answers is a section of free texts under fixed keys.
type answers[T any] struct {
	keys [][2]string // key, help
	to   func(*T) *map[string]string
}

func (v answers[T]) fields() fields[map[string]string] {
	made := fields[map[string]string]{}
	for _, k := range v.keys {
		f := answer{k[0]}
		made = append(made, may[map[string]string](k[0], f, k[1]))
	}
	return made
}

func (v answers[T]) schema() schema { return v.fields().schema() }

func (v answers[T]) read(r *reader, n *node, path string, into *T) {
	*v.to(into) = map[string]string{}
	v.fields().read(r, n, path, v.to(into))
}

// answer is one text of such a section.
type answer struct{ key string }

func (v answer) schema() schema { return schema{"type": []any{"string", "number", "boolean"}} }

func (v answer) read(r *reader, n *node, path string, into *map[string]string) {
	var said string
	text(func(s *string) *string { return s }).read(r, n, path, &said)
	if said != "" {
		(*into)[v.key] = said
	}
}

// freeTexts is a section of texts under keys of the user's own.
type freeTexts[T any] struct{ to func(*T) *map[string]string }

func (v freeTexts[T]) schema() schema {
	return schema{"type": "object", "propertyNames": schema{"pattern": namePattern}, "maxProperties": 64, "additionalProperties": answer{}.schema()}
}

func (v freeTexts[T]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, mapping, "write \"name: text\"") {
		return
	}
	if len(n.entries) > 64 {
		r.complain(n.entries[64].at, "more than 64 texts", "shorten the list")
		return
	}
	texts := map[string]string{}
	for _, e := range n.entries {
		if text, instead := badName(e.key); text != "" {
			r.complain(e.at, text, instead)
			continue
		}
		if _, twice := texts[e.key]; twice {
			r.complain(e.at, fmt.Sprintf("the key %q stands here a second time", cut(e.key)), "keep one")
			continue
		}
		texts[e.key] = ""
		answer{e.key}.read(r, e.value, join(path, e.key), &texts)
	}
	*v.to(into) = texts
}

// cut shortens a text from the file for a message.
func cut(s string) string {
	runes := []rune(strings.Join(strings.Fields(s), " "))
	if len(runes) > 40 {
		return string(runes[:40]) + "…"
	}
	return string(runes)
}
