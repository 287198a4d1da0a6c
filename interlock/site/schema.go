package site

import "encoding/json"

// Schema is the JSON Schema (draft 2020-12) of the site file, made from the
// tables that read it, so that an editor completes keys and marks wrong units.
// What one key alone cannot show, such as names that nothing declares, only
// reading the file shows.
func Schema() []byte {
	made := siteFields.schema()
	made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	made["$id"] = "urn:ohmgate:site:1"
	made["title"] = "ohmgate site file"
	made["description"] = "What the plant is, who watches it, what may run when, and what charges what. Every quantity carries its unit."
	text, err := json.MarshalIndent(made, "", "  ")
	if err != nil { // only values that JSON knows are in the tables
		panic(err)
	}
	return append(text, '\n')
}
