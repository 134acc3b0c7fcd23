package mqtt

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules/alarm"
)

// loadSchema reads the schema of that name, such as "event".
func loadSchema(t testing.TB, name string) map[string]any {
	t.Helper()
	data, err := Schemas.ReadFile("schema/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var schema map[string]any
	if err := json.Unmarshal(data, &schema); err != nil {
		t.Fatalf("schema %s: %v", name, err)
	}
	return schema
}

// validate checks a JSON text against one of our schemas. It knows the keywords
// of JSON Schema (draft 2020-12) that they use and fails on any other.
func validate(t testing.TB, schema map[string]any, payload []byte) (problems []string) {
	t.Helper()
	var value any
	if err := json.Unmarshal(payload, &value); err != nil {
		return []string{err.Error()}
	}
	check(schema, value, "$", func(format string, args ...any) { problems = append(problems, fmt.Sprintf(format, args...)) })
	return problems
}

type complaint func(format string, args ...any)

// keywords has one check for each keyword; the schema is there for those that
// look at their neighbours.
var keywords map[string]func(schema map[string]any, arg, value any, at string, bad complaint)

func init() {
	ignore := func(map[string]any, any, any, string, complaint) {}
	keywords = map[string]func(map[string]any, any, any, string, complaint){
		"$schema": ignore, "$id": ignore, "title": ignore, "description": ignore,
		"type":                 checkType,
		"const":                checkConst,
		"enum":                 checkEnum,
		"format":               checkFormat,
		"minimum":              checkMinimum,
		"maximum":              checkMaximum,
		"minLength":            checkMinLength,
		"maxLength":            checkMaxLength,
		"properties":           checkProperties,
		"required":             checkRequired,
		"additionalProperties": checkAdditional,
		"items":                checkItems,
		"oneOf":                checkOneOf,
	}
}

func check(schema map[string]any, value any, at string, bad complaint) {
	for keyword, arg := range schema {
		f, known := keywords[keyword]
		if !known {
			bad("%s: the schema uses %q, which nobody checks", at, keyword)
			continue
		}
		f(schema, arg, value, at, bad)
	}
}

func checkType(_ map[string]any, arg, value any, at string, bad complaint) {
	allowed, ok := arg.([]any)
	if !ok {
		allowed = []any{arg}
	}
	if !slices.ContainsFunc(allowed, func(a any) bool { return isType(a.(string), value) }) {
		bad("%s: %v is not of type %v", at, value, arg)
	}
}

func isType(name string, value any) bool {
	switch v := value.(type) {
	case nil:
		return name == "null"
	case bool:
		return name == "boolean"
	case float64:
		return name == "number" || name == "integer" && v == math.Trunc(v)
	case string:
		return name == "string"
	case []any:
		return name == "array"
	}
	return name == "object"
}

func checkConst(_ map[string]any, arg, value any, at string, bad complaint) {
	if !reflect.DeepEqual(arg, value) {
		bad("%s: %v is not %v", at, value, arg)
	}
}

func checkEnum(_ map[string]any, arg, value any, at string, bad complaint) {
	if !slices.ContainsFunc(arg.([]any), func(a any) bool { return reflect.DeepEqual(a, value) }) {
		bad("%s: %v is none of %v", at, value, arg)
	}
}

// checkFormat knows date-time (RFC 3339), and wants UTC.
func checkFormat(_ map[string]any, arg, value any, at string, bad complaint) {
	s, isString := value.(string)
	if !isString {
		return
	}
	if _, err := time.Parse(time.RFC3339, s); arg != "date-time" || err != nil || !strings.HasSuffix(s, "Z") {
		bad("%s: %q is no %v in UTC", at, s, arg)
	}
}

func checkMinimum(_ map[string]any, arg, value any, at string, bad complaint) {
	if x, ok := value.(float64); ok && !(x >= arg.(float64)) {
		bad("%s: %v is less than %v", at, x, arg)
	}
}

func checkMaximum(_ map[string]any, arg, value any, at string, bad complaint) {
	if x, ok := value.(float64); ok && !(x <= arg.(float64)) {
		bad("%s: %v is more than %v", at, x, arg)
	}
}

func checkMinLength(_ map[string]any, arg, value any, at string, bad complaint) {
	if s, ok := value.(string); ok && float64(utf8.RuneCountInString(s)) < arg.(float64) {
		bad("%s: %q is shorter than %v", at, s, arg)
	}
}

func checkMaxLength(_ map[string]any, arg, value any, at string, bad complaint) {
	if s, ok := value.(string); ok && float64(utf8.RuneCountInString(s)) > arg.(float64) {
		bad("%s: %q is longer than %v", at, s, arg)
	}
}

func checkProperties(_ map[string]any, arg, value any, at string, bad complaint) {
	object, _ := value.(map[string]any)
	for name, sub := range arg.(map[string]any) {
		if v, ok := object[name]; ok {
			check(sub.(map[string]any), v, at+"."+name, bad)
		}
	}
}

func checkRequired(_ map[string]any, arg, value any, at string, bad complaint) {
	object, isObject := value.(map[string]any)
	for _, name := range arg.([]any) {
		if _, ok := object[name.(string)]; isObject && !ok {
			bad("%s: %s is missing", at, name)
		}
	}
}

// checkAdditional knows only false.
func checkAdditional(schema map[string]any, arg, value any, at string, bad complaint) {
	known, _ := schema["properties"].(map[string]any)
	object, _ := value.(map[string]any)
	for name := range object {
		if _, ok := known[name]; !ok || arg != false {
			bad("%s: %s is not in the schema", at, name)
		}
	}
}

func checkItems(_ map[string]any, arg, value any, at string, bad complaint) {
	items, _ := value.([]any)
	for i, item := range items {
		check(arg.(map[string]any), item, fmt.Sprintf("%s[%d]", at, i), bad)
	}
}

func checkOneOf(_ map[string]any, arg, value any, at string, bad complaint) {
	fits := 0
	for _, sub := range arg.([]any) {
		wrong := false
		check(sub.(map[string]any), value, at, func(string, ...any) { wrong = true })
		if !wrong {
			fits++
		}
	}
	if fits != 1 {
		bad("%s: fits %d of the choices, not one", at, fits)
	}
}

func TestTheValidatorFindsWhatIsWrong(t *testing.T) {
	tests := []struct{ name, schema, payload, want string }{
		{"a number for a string", `{"type":"string"}`, `1`, "$: 1 is not of type string"},
		{"null where it may not be", `{"type":["string","number"]}`, `null`, "$: <nil> is not of type [string number]"},
		{"a fraction for an integer", `{"type":"integer"}`, `1.5`, "$: 1.5 is not of type integer"},
		{"another constant", `{"const":"a"}`, `"b"`, "$: b is not a"},
		{"a word not in the list", `{"enum":["a",null]}`, `"b"`, "$: b is none of [a <nil>]"},
		{"a time that is none", `{"format":"date-time"}`, `"2026-02-30T00:00:00Z"`, `$: "2026-02-30T00:00:00Z" is no date-time in UTC`},
		{"a time not in UTC", `{"format":"date-time"}`, `"2026-03-01T00:00:00+01:00"`, `$: "2026-03-01T00:00:00+01:00" is no date-time in UTC`},
		{"too little", `{"minimum":0}`, `-1`, "$: -1 is less than 0"},
		{"too much", `{"maximum":1}`, `2`, "$: 2 is more than 1"},
		{"too short", `{"minLength":1}`, `""`, `$: "" is shorter than 1`},
		{"too long", `{"maxLength":1}`, `"ab"`, `$: "ab" is longer than 1`},
		{"a missing key", `{"required":["a"]}`, `{}`, "$: a is missing"},
		{"a key too many", `{"properties":{},"additionalProperties":false}`, `{"a":1}`, "$: a is not in the schema"},
		{"deep inside", `{"properties":{"a":{"items":{"type":"string"}}}}`, `{"a":["x",1]}`, "$.a[1]: 1 is not of type string"},
		{"none of the choices", `{"oneOf":[{"required":["a"]},{"required":["b"]}]}`, `{}`, "$: fits 0 of the choices, not one"},
		{"two of the choices", `{"oneOf":[{"required":["a"]},{"required":["b"]}]}`, `{"a":1,"b":2}`, "$: fits 2 of the choices, not one"},
		{"a keyword nobody checks", `{"multipleOf":2}`, `1`, `$: the schema uses "multipleOf", which nobody checks`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var schema map[string]any
			if err := json.Unmarshal([]byte(tt.schema), &schema); err != nil {
				t.Fatal(err)
			}
			if got := strings.Join(validate(t, schema, []byte(tt.payload)), "\n"); got != tt.want {
				t.Errorf("problems %q, want %q", got, tt.want)
			}
		})
	}
}

// words lists the words of a type from 0 on, up to the first without one.
func words[T interface {
	~uint8
	fmt.Stringer
}]() (all []any) {
	for v := T(0); !strings.HasPrefix(v.String(), "unknown"); v++ {
		all = append(all, v.String())
	}
	return all
}

func TestTheSchemasKnowEveryWordOfTheAlarms(t *testing.T) {
	properties := loadSchema(t, "event")["properties"].(map[string]any)
	for key, want := range map[string][]any{
		"event": words[alarm.Kind](), "state": words[alarm.State](), "previous_state": words[alarm.State](), "class": words[alarm.Class](),
		"priority": words[alarm.Priority](), "responder": words[alarm.Responder](), "notify": words[alarm.Notify](),
	} {
		if d := cmp.Diff(want, properties[key].(map[string]any)["enum"]); d != "" {
			t.Errorf("words of %s (-alarm +schema):\n%s", key, d)
		}
	}
}

// payloads has the Go type behind each schema.
var payloads = map[string]any{
	"status": StatusPayload{}, "event": EventPayload{}, "alarm": AlarmPayload{}, "service": ServicePayload{},
	"telemetry": TelemetryPayload{}, "command": CommandPayload{}, "result": ResultPayload{}, "report": ReportPayload{},
}

func TestEverySchemaNamesTheKeysOfItsType(t *testing.T) {
	files, err := fs.Glob(Schemas, "schema/*.json")
	if err != nil || len(files) != len(payloads) {
		t.Fatalf("schemas %v, %v; want one for each of %d payloads", files, err, len(payloads))
	}
	for name, payload := range payloads {
		t.Run(name, func(t *testing.T) {
			schema := loadSchema(t, name)
			if id := root + name; schema["$id"] != id {
				t.Errorf("$id %v, want %s", schema["$id"], id)
			}
			compareKeys(t, "$", schema, reflect.TypeOf(payload))
		})
	}
}

// compareKeys walks a schema and a type side by side.
func compareKeys(t *testing.T, at string, schema map[string]any, typ reflect.Type) {
	for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
		if items, ok := schema["items"].(map[string]any); ok && typ.Kind() == reflect.Slice {
			schema = items
		}
		typ = typ.Elem()
	}
	if typ.Kind() != reflect.Struct || typ == reflect.TypeFor[time.Time]() {
		return
	}
	properties, _ := schema["properties"].(map[string]any)
	keys := map[string]bool{}
	for _, f := range reflect.VisibleFields(typ) {
		key := f.Tag.Get("json")
		if f.Anonymous || key == "-" {
			continue
		}
		keys[key] = true
		sub, ok := properties[key].(map[string]any)
		if !ok {
			t.Errorf("%s: key %s is not in the schema", at, key)
			continue
		}
		if sub["description"] == nil {
			t.Errorf("%s: the schema does not say what %s is", at, key)
		}
		compareKeys(t, at+"."+key, sub, f.Type)
	}
	for key := range properties {
		if !keys[key] {
			t.Errorf("%s: the schema has %s, the type has not", at, key)
		}
	}
}
