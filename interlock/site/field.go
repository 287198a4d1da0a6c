package site

import (
	"fmt"
	"maps"
	"strings"
)

// schema is a JSON Schema in the making.
type schema = map[string]any

// value reads one kind of value into a T and describes it as a schema: the one
// source of what a file may say and of what an editor offers.
type value[T any] interface {
	read(r *reader, n *node, path string, into *T)
	schema() schema
}

// field is one key of a section.
type field[T any] struct {
	key, help string
	value     value[T]
	required  bool
	silent    string // read in the place of an absent key; empty: the zero value
}

// fields is one section: all of its keys.
type fields[T any] []field[T]

func may[T any](key string, v value[T], help string) field[T] {
	return field[T]{key: key, value: v, help: help}
}

func must[T any](key string, v value[T], help string) field[T] {
	return field[T]{key: key, value: v, help: help, required: true}
}

// or is a field with a value for files that are silent.
func or[T any](silent string, f field[T]) field[T] {
	f.silent = silent
	return f
}

func (f fields[T]) keys() []string {
	keys := make([]string, len(f))
	for i := range f {
		keys[i] = f[i].key
	}
	return keys
}

func (f fields[T]) find(key string) *field[T] {
	for i := range f {
		if f[i].key == key {
			return &f[i]
		}
	}
	return nil
}

// read takes a mapping apart, key by key, and reports every key that is
// unknown, doubled or missing.
func (f fields[T]) read(r *reader, n *node, path string, into *T) {
	if !r.want(n, mapping, "write keys and values: "+strings.Join(f.keys(), ", ")) {
		return
	}
	seen := map[string]Position{}
	for _, e := range n.entries {
		known := f.find(e.key)
		if known == nil {
			r.complain(e.at, fmt.Sprintf("unknown key %q", cut(e.key)), f.advice(e))
			continue
		}
		if first, twice := seen[e.key]; twice {
			r.complain(e.at, fmt.Sprintf("the key %q stands here a second time", e.key), fmt.Sprintf("keep one; the first is in line %d", first.Line))
			continue
		}
		seen[e.key] = e.at
		r.enter(join(path, e.key), e.at, e.value)
		if e.value.shape == nothing {
			r.complain(e.at, fmt.Sprintf("the key %q has no value", e.key), "write one, or delete the key")
			continue
		}
		known.value.read(r, e.value, join(path, e.key), into)
	}
	for i := range f {
		if _, ok := seen[f[i].key]; ok {
			continue
		}
		if f[i].required {
			r.complain(r.at(path, n.at), fmt.Sprintf("the key %q is missing", f[i].key), "write "+f[i].example())
		} else if f[i].silent != "" {
			f[i].value.read(r, &node{shape: scalar, text: f[i].silent, at: r.at(path, n.at)}, join(path, f[i].key), into)
		}
	}
}

// advice is what to write in the place of an unknown key.
func (f fields[T]) advice(e entry) string {
	if meant := nearest(strings.ReplaceAll(strings.ToLower(e.key), "-", "_"), f.keys()); meant != "" {
		return "write " + meant
	}
	if e.value.shape == nothing && strings.Contains(e.key, " ") { // {title: one, two words}
		return "put a text with a comma between quotes"
	}
	return "use one of " + strings.Join(f.keys(), ", ")
}

// example is how a missing key might be written.
func (f *field[T]) example() string {
	s := f.value.schema()
	switch {
	case f.silent != "":
		return f.key + ": " + f.silent
	case s["examples"] != nil:
		return fmt.Sprintf("%s: %v", f.key, s["examples"].([]any)[0])
	case s["enum"] != nil:
		return f.key + ": " + strings.Join(words(s["enum"].([]any)), " or ")
	}
	return f.key + ": …"
}

func words(list []any) []string {
	var out []string
	for _, word := range list {
		if text, ok := word.(string); ok {
			out = append(out, text)
		}
	}
	return out
}

// schema describes the section.
func (f fields[T]) schema() schema {
	properties, required := schema{}, []any{}
	for i := range f {
		described := maps.Clone(f[i].value.schema())
		described["description"] = f[i].help
		if f[i].silent != "" {
			described["default"] = f[i].silent
		}
		properties[f[i].key] = described
		if f[i].required {
			required = append(required, f[i].key)
		}
	}
	made := schema{"type": "object", "properties": properties, "additionalProperties": false}
	if len(required) > 0 {
		made["required"] = required
	}
	return made
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
