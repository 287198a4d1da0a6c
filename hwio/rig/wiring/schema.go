package wiring

import (
	"encoding/json"

	"ohmgate/interlock/site"
)

// object is a piece of a JSON Schema.
type object = map[string]any

const draft = "https://json-schema.org/draft/2020-12/schema"

// Schema is the JSON Schema of a rig map: the value of rig: in a site file, as this package reads it. What hangs on names
// (whether a channel, a module or a free relay is there) is beyond any schema; Read says that.
func Schema() []byte {
	made := siteRig()
	made["$schema"], made["$id"], made["title"] = draft, "urn:ohmgate:rig:1", "ohmgate rig map"
	made["required"] = []string{"ports", "modules", "points"}
	fields := made["properties"].(object)
	fields["points"].(object)["minItems"] = 1
	modules := fields["modules"].(object)
	modules["minProperties"] = 1
	module := modules["additionalProperties"].(object)
	module["properties"].(object)["commands"].(object)["propertyNames"] = object{"enum": commandKeys}
	module["allOf"] = []any{
		whenKind([]string{KindRelays}, object{"required": []string{"address", "time_out"}}),
		whenKind([]string{KindInputs, KindResistance}, object{"required": []string{"address"}}),
		whenKind([]string{KindDecade}, object{
			"required": []string{"commands"},
			"properties": object{"commands": object{
				"required":   []string{"set"},
				"properties": object{"set": object{"type": "string", "pattern": `\{ohms\}`}},
			}},
		}),
	}
	fields["points"].(object)["items"].(object)["allOf"] = []any{
		object{
			"if":   object{"properties": object{"use": object{"const": useBridge}}, "required": []string{"use"}},
			"then": object{"required": []string{"resistor"}},
		},
		object{
			"if":   object{"properties": object{"use": object{"enum": []string{useReads, useBreak, useShort, useLoopback}}}, "required": []string{"use"}},
			"then": object{"not": object{"required": []string{"resistor"}}},
		},
	}
	return indented(made)
}

// whenKind asks more of modules of some kinds.
func whenKind(kinds []string, then object) object {
	return object{"if": object{"properties": object{"kind": object{"enum": kinds}}, "required": []string{"kind"}}, "then": then}
}

// siteRig is what the schema of the site file says of its rig section.
func siteRig() object {
	var whole struct {
		Properties struct {
			Rig object `json:"rig"`
		} `json:"properties"`
	}
	if err := json.Unmarshal(site.Schema(), &whole); err != nil || whole.Properties.Rig == nil { // our own text
		panic("the site's schema has no rig section")
	}
	return whole.Properties.Rig
}

// CalibrationSchema is the JSON Schema of a calibration file.
func CalibrationSchema() []byte {
	resistor := siteRig()["properties"].(object)["points"].(object)["items"].(object)["properties"].(object)["resistor"].(object)
	ohms := func(what string) object {
		return object{"type": "string", "pattern": resistor["pattern"], "description": what}
	}
	day := func(what string) object {
		return object{"type": "string", "pattern": dateForm.String(), "description": what}
	}
	return indented(object{
		"$schema": draft, "$id": "urn:ohmgate:calibration:1", "title": "ohmgate calibration file",
		"description": "What a decade, or fixed resistors, really give at the clamp.",
		"type":        "object", "additionalProperties": false,
		"required": []string{"instrument", "date", "due", "points"},
		"properties": object{
			"instrument":  object{"type": "string", "description": "What was calibrated."},
			"serial":      object{"type": []string{"string", "number"}, "description": "Serial number; it must be the module's."},
			"date":        day("Day of the calibration."),
			"due":         day("Last day on which it holds."),
			"temperature": object{"type": "string", "description": "At which it was done."},
			"contacts":    ohms("What relay contacts in series may add."),
			"points": object{"type": "array", "minItems": 1, "items": object{
				"type": "object", "additionalProperties": false, "required": []string{"set", "actual", "uncertainty"},
				"properties": object{"set": ohms("Value set."), "actual": ohms("Value at the clamp."), "uncertainty": ohms("How sure that is.")},
			}},
		},
	})
}

func indented(made object) []byte {
	text, err := json.MarshalIndent(made, "", "  ")
	if err != nil { // only values that JSON knows are in it
		panic(err)
	}
	return append(text, '\n')
}
