package sim

import (
	"encoding/json"
	"reflect"
	"strings"

	"ohmgate/interlock/fault"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
)

// object is a JSON Schema in the making.
type object = map[string]any

const draft = "https://json-schema.org/draft/2020-12/schema"

// ReportSchema is the JSON Schema of a report, made from its Go types.
func ReportSchema() []byte {
	made := schemaOf(reflect.TypeFor[Report]())
	made["$schema"], made["$id"] = draft, "urn:ohmgate:report:1"
	made["title"] = "ohmgate report of simulate"
	made["properties"].(object)["schema"] = object{"const": ReportVersion}
	return pretty(made)
}

// schemaOf describes a Go type by its fields.
func schemaOf(t reflect.Type) object {
	switch t.Kind() {
	case reflect.Pointer:
		return schemaOf(t.Elem())
	case reflect.String:
		return object{"type": "string"}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Float64:
		return object{"type": "number"}
	case reflect.Uint64:
		return object{"type": "integer", "minimum": 0}
	case reflect.Int:
		return object{"type": "integer"}
	case reflect.Slice:
		return object{"type": "array", "items": schemaOf(t.Elem())}
	}
	properties, required := object{}, []any{}
	for _, field := range reflect.VisibleFields(t) { // those of an embedded head too
		if field.Anonymous {
			continue
		}
		name, option, _ := strings.Cut(field.Tag.Get("json"), ",")
		properties[name] = schemaOf(field.Type)
		switch name {
		case "verdict":
			properties[name] = object{"enum": []any{verdict.Shown.String(), verdict.Violated.String(), verdict.NothingChecked.String()}}
		case "exit":
			properties[name] = object{"enum": []any{0, 1, 4}}
		}
		if option == "" {
			required = append(required, name)
		}
	}
	return object{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
}

func pretty(made object) []byte {
	text, err := json.MarshalIndent(made, "", "  ")
	if err != nil { // only values that JSON knows are in it
		panic(err)
	}
	return append(text, '\n')
}

// ScenarioSchema is the JSON Schema of a scenario file, for editors.
func ScenarioSchema() []byte {
	return pretty(object{
		"$schema": draft, "$id": "urn:ohmgate:scenario:1", "title": "ohmgate scenario file",
		"description": "What happens when, and what must follow. Every time carries its unit, or is a count of scans.",
		"type":        "object", "additionalProperties": false, "required": []any{"scenario", "lasts"},
		"properties": object{
			"scenario": object{"type": "string", "pattern": `^[^\x00-\x1f\x7f-\x9f/\\]{1,100}$`, "description": "Name of the scenario; files are named by it."}, "site": word("Name of the site that it is written for."),
			"title": word("One line for people."), "why": word("What it shows, for people."),
			"seed":   object{"type": []any{"integer", "string"}, "description": "Seed of everything random; 1 if silent."},
			"lasts":  moment("How long it lasts."),
			"begin":  object{"enum": []any{"power-up", "ready", "running"}, "description": "ready: clamps on, first waits over, everything acknowledged. running: every output reset and started as well."},
			"except": nameList("begin: ready or running leaves these alone: clamps, inputs, outputs."),
			"with":   nameList("Inputs that are set besides at the beginning."),
			"steps":  object{"type": "array", "items": object{"oneOf": []any{doSchema(), readSchema()}}},
			"faults": object{"type": "array", "items": object{"oneOf": faultSchemas()}},
			"expect": object{"type": "array", "items": object{"oneOf": expectSchemas()}},
		},
	})
}

func word(help string) object { return object{"type": "string", "description": help} }

func moment(help string) object {
	return object{"type": "string", "pattern": "(" + quantity.Pattern(quantity.Time, false) + ")|(^[0-9]{1,12} scans?$)", "examples": []any{"10 s", "12 scans"}, "description": help}
}

func nameList(help string) object {
	return object{"description": help, "oneOf": []any{object{"type": "string"}, object{"type": "array", "items": object{"type": "string"}}}}
}

// section closes an object.
func sectionOf(properties object, required ...any) object {
	return object{"type": "object", "additionalProperties": false, "properties": properties, "required": required}
}

func doSchema() object {
	acts := make([]any, len(doList))
	for i, act := range doList {
		acts[i] = act
	}
	return sectionOf(object{
		"at": moment("When."), "do": object{"enum": acts}, "on": nameList("Who or what."), "for": moment("press, turn: how long."),
		"to":      object{"enum": []any{"part", "paint", "wrong object", "yes", "no", "on", "off", true, false}, "description": "connect: what the jaws bite; set: yes or no."},
		"contact": object{"type": "string", "pattern": quantity.Pattern(quantity.Resistance, false), "description": "connect: resistance of the contact."},
	}, "at", "do")
}

func readSchema() object {
	return sectionOf(object{
		"at": moment("When."), "on": nameList("Channels or inputs."), "for": moment("How long; silent: until the next read."),
		"read": object{"type": []any{"string", "integer"}, "description": "A class (missing, invalid, open, high, between, good), repeated, a value such as 9.6 Ω, plant; for inputs 0, 1, unknown, nothing or plant."},
	}, "at", "read", "on")
}

// faultSchemas describes every fault of the catalogue with its own parameters.
func faultSchemas() []any {
	var list []any
	for _, f := range fault.All() {
		properties := object{"at": moment("When it begins."), "until": moment("When it ends; silent: never."), "fault": object{"const": f.Name, "description": f.Models}}
		required := []any{"at", "fault"}
		if f.On != fault.OnLogic {
			properties["on"] = nameList("The " + f.On.String() + ".")
		}
		if f.On != fault.OnLogic && f.On != fault.OnBus {
			required = append(required, "on")
		}
		for _, p := range f.Params {
			properties[p.Name] = paramSchema(p)
			if p.Default == "" {
				required = append(required, p.Name)
			}
		}
		list = append(list, sectionOf(properties, required...))
	}
	return list
}

func paramSchema(p fault.Param) object {
	made := object{"description": p.What}
	if p.Default != "" {
		made["default"] = p.Default
	}
	if p.Unit == fault.Word {
		options := []any{}
		for _, option := range p.Words {
			options = append(options, option)
		}
		if p.Words[0] == "0" {
			options = append(options, 0, 1)
		}
		made["enum"] = options
		return made
	}
	pattern := quantity.Pattern(dimensions[p.Unit], false)
	if p.Unit == fault.Ohm {
		pattern = strings.Replace(pattern, "^", "^-?", 1)
	}
	made["type"], made["pattern"] = "string", pattern
	return made
}

// expectSchemas describes the forms of an expectation.
func expectSchemas() []any {
	window := func(more object) object {
		more["from"], more["to"] = moment("Not before."), moment("Not after.")
		return more
	}
	of := object{"description": "Counted from this time, or from when this becomes true.", "oneOf": []any{moment(""), object{"type": "array", "items": object{"type": "string"}}, object{"type": "string", "pattern": "^[^0-9]"}}}
	condition := nameList("Conditions such as \"valve_1 is tripped\"; all must hold.")
	event := word("An event such as \"wait over car_1\".")
	return []any{
		sectionOf(window(object{"within": moment("At the latest."), "of": of, "that": condition}), "within", "that"),
		sectionOf(window(object{"within": moment("At the latest."), "of": of, "event": event, "because": word("Part of the reason.")}), "within", "event"),
		sectionOf(window(object{"never": condition, "while": condition}), "never"),
		sectionOf(window(object{"always": condition}), "always"),
		sectionOf(window(object{"in order": object{"type": "array", "items": object{"type": "string"}, "minItems": 2}}), "in order"),
		sectionOf(window(object{"until": condition, "that": condition}), "until", "that"),
		sectionOf(object{"that": condition, "at": moment("When.")}, "that", "at"),
		sectionOf(window(object{"first-out of": word("An output."), "is": nameList("The causes."), "order": object{"enum": []any{"known", "not known"}}, "at": moment("When.")}), "first-out of", "is"),
	}
}
