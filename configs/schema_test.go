package configs

import (
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"slices"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
)

func TestSchemaFileIsTheOneOfTheTypes(t *testing.T) {
	if *update {
		if err := os.WriteFile("schema.json", Schema(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(kept), string(Schema())); d != "" {
		t.Errorf("schema.json is old; run go test ./configs -update (-kept +now):\n%s", d)
	}
}

// TestReferenceFitsTheSchema checks with the part of JSON Schema that Schema
// uses.
func TestReferenceFitsTheSchema(t *testing.T) {
	var s map[string]any
	if err := json.Unmarshal(Schema(), &s); err != nil {
		t.Fatal(err)
	}
	for _, text := range [][]byte{Reference, plant(2, true)} {
		var value any
		if err := yaml.Unmarshal(text, &value); err != nil {
			t.Fatal(err)
		}
		for _, problem := range misfits("", s, value) {
			t.Error(problem)
		}
	}
	var wrong any
	if err := yaml.Unmarshal([]byte("site: {id: a, units: feet, colour: red}\nbuses: {}\n"), &wrong); err != nil {
		t.Fatal(err)
	}
	want := []string{
		".buses: map[string]interface {} is no array", ".site.units: feet is none of [metric us_field]", ".site: colour is not known",
		": devices is missing", ": pumps is missing",
	}
	got := misfits("", s, wrong)
	slices.Sort(got)
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("misfits (-want +got):\n%s", d)
	}
}

func misfits(at string, s map[string]any, value any) (list []string) {
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(at+": "+format, args...)) }
	if words, ok := s["enum"].([]any); ok && !slices.ContainsFunc(words, func(w any) bool { return w == value }) {
		add("%v is none of %v", value, words)
	}
	if kind, ok := s["type"]; ok && !isKind(kind, value) {
		add("%T is no %v", value, kind)
		return list
	}
	switch v := value.(type) {
	case string:
		if pattern, ok := s["pattern"].(string); ok && !regexp.MustCompile(pattern).MatchString(v) {
			add("%q does not match %s", v, pattern)
		}
	case []any:
		for i, item := range v {
			list = append(list, misfits(fmt.Sprintf("%s[%d]", at, i), s["items"].(map[string]any), item)...)
		}
	case map[string]any:
		properties, _ := s["properties"].(map[string]any)
		for key, item := range v {
			inner, known := properties[key].(map[string]any)
			if others, ok := s["additionalProperties"].(map[string]any); ok && !known {
				inner, known = others, true
			}
			if !known {
				add("%s is not known", key)
				continue
			}
			list = append(list, misfits(at+"."+key, inner, item)...)
		}
		required, _ := s["required"].([]any)
		for _, key := range required {
			if _, ok := v[key.(string)]; !ok {
				add("%s is missing", key)
			}
		}
	}
	return list
}

func isKind(kind, value any) bool {
	if several, ok := kind.([]any); ok {
		return slices.ContainsFunc(several, func(one any) bool { return isKind(one, value) })
	}
	switch value.(type) {
	case string:
		return kind == "string"
	case bool:
		return kind == "boolean"
	case uint64, int64:
		return kind == "integer" || kind == "number"
	case float64:
		return kind == "number"
	case []any:
		return kind == "array"
	case map[string]any:
		return kind == "object"
	}
	return false
}
