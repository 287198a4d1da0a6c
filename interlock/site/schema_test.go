package site

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// compiled is the published schema, as an editor loads it.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("urn:ohmgate:site:1", document); err != nil {
		t.Fatal(err)
	}
	made, err := c.Compile("urn:ohmgate:site:1")
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// instance is a YAML text as a schema sees it.
func instance(t *testing.T, text string) any {
	t.Helper()
	var tree any
	if err := yaml.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	inJSON, err := json.Marshal(tree)
	if err != nil {
		t.Fatal(err)
	}
	made, err := jsonschema.UnmarshalJSON(bytes.NewReader(inJSON))
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func TestSchemaAcceptsSites(t *testing.T) {
	made := compiled(t)
	texts := map[string]string{"good": good}
	files, _ := filepath.Glob("../../testdata/sites/*.yaml")
	if len(files) == 0 {
		t.Fatal("no demo sites")
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		texts[file] = string(data)
	}
	for name, text := range texts {
		if _, problems := Parse(name, []byte(text)); problems != nil {
			t.Errorf("%s cannot be read:\n%v", name, problems)
		}
		if err := made.Validate(instance(t, text)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestSchemaRefuses: what one key alone shows to be wrong, an editor marks too.
func TestSchemaRefuses(t *testing.T) {
	made := compiled(t)
	for group, need := range map[string]int{"keys": 9, "quantities": 22} {
		marked := 0
		for _, b := range refusals[group] {
			text, _ := b.broken(t)
			if strings.Contains(b.text, "second time") || strings.Contains(b.text, ".inf") {
				continue // nothing that JSON could hold
			}
			if made.Validate(instance(t, text)) != nil {
				marked++
			} else if !regexp.MustCompile("finer than|above 1 TΩ|longer than|backwards|takes no time|text is empty").MatchString(b.text) {
				t.Errorf("%s: an editor would not mark %q", group, b.new)
			}
		}
		if marked < need-6 {
			t.Errorf("%s: only %d marked", group, marked)
		}
	}
}

// walk visits every section of a schema with a text that leads to it: $ stands
// where its keys go.
func walk(made map[string]any, lead string, visit func(lead string, keys []string)) {
	if properties, ok := made["properties"].(map[string]any); ok {
		keys := []string{}
		for key, inner := range properties {
			keys = append(keys, key)
			under := "{" + key + ": $}"
			if lead == "$" {
				under = key + ": $"
			}
			walk(inner.(map[string]any), strings.Replace(lead, "$", under, 1), visit)
		}
		sort.Strings(keys)
		visit(lead, keys)
	}
	if inner, ok := made["additionalProperties"].(map[string]any); ok {
		walk(inner, strings.Replace(lead, "$", "{n: $}", 1), visit)
	}
	if inner, ok := made["items"].(map[string]any); ok {
		walk(inner, strings.Replace(lead, "$", "[$]", 1), visit)
	}
}

// TestSameKeys asks the reader itself, section by section, which keys it knows,
// and compares with the schema.
func TestSameKeys(t *testing.T) {
	var made map[string]any
	if err := json.Unmarshal(Schema(), &made); err != nil {
		t.Fatal(err)
	}
	listed := regexp.MustCompile(`unknown key "zzzzzzzzzzzzzzzz".*use one of (.*)`)
	sections, total := 0, 0
	walk(made, "$", func(lead string, keys []string) {
		text := strings.Replace(lead, "$", "{zzzzzzzzzzzzzzzz: 1}", 1)
		if lead == "$" {
			text = "zzzzzzzzzzzzzzzz: 1"
		}
		_, problems := Parse("site.yaml", []byte(text))
		sections++
		total += len(keys)
		for _, p := range problems {
			if found := listed.FindStringSubmatch(p.Text + "; " + p.Instead); found != nil {
				known := strings.Split(found[1], ", ")
				sort.Strings(known)
				if !slices.Equal(known, keys) {
					t.Errorf("%s\n reader %v\n schema %v", lead, known, keys)
				}
				return
			}
		}
		t.Errorf("%s: the reader does not say which keys it knows: %v", text, problems)
	})
	if sections < 20 || total < 150 {
		t.Fatalf("only %d sections with %d keys", sections, total)
	}
}

// TestSchemaIsWhole wants a description for every key, and a pattern wherever a
// quantity stands.
func TestSchemaIsWhole(t *testing.T) {
	if !bytes.Equal(Schema(), Schema()) {
		t.Error("the schema changes from call to call")
	}
	var made map[string]any
	if err := json.Unmarshal(Schema(), &made); err != nil {
		t.Fatal(err)
	}
	var look func(path string, node map[string]any)
	look = func(path string, node map[string]any) {
		properties, _ := node["properties"].(map[string]any)
		for key, inner := range properties {
			field := inner.(map[string]any)
			if text, _ := field["description"].(string); !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, ",") && !strings.HasSuffix(text, ";") && !strings.HasSuffix(text, "…") {
				t.Errorf("%s.%s: description %q", path, key, text)
			}
			look(path+"."+key, field)
		}
		for _, under := range []string{"additionalProperties", "items"} {
			if inner, ok := node[under].(map[string]any); ok {
				look(path, inner)
			}
		}
	}
	look("site", made)
}
