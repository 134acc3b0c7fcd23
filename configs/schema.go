package configs

import (
	"encoding/json"
	"reflect"
)

// Schema gives the JSON Schema (2020-12) of a configuration file, made from
// the file's own types, for editors that help to write one. Load is stricter:
// units, references and what belongs together are beyond a schema.
func Schema() []byte {
	s := schemaOf(reflect.TypeFor[file](), nil)
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = "pumpside configuration"
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // only maps, lists and texts are in it
	}
	return append(text, '\n')
}

// A schema is one JSON Schema.
type schema map[string]any

func schemaOf(t reflect.Type, words []string) schema {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if dimension, ok := dimensionOf[t]; ok {
		return schema{"type": "string", "pattern": `^[-+]?[0-9.]`, "examples": []string{dimension.Example()}}
	}
	switch t.Kind() {
	case reflect.Struct:
		return schemaOfBlock(t)
	case reflect.Slice:
		return schema{"type": "array", "items": schemaOf(t.Elem(), words)}
	case reflect.Map:
		return schema{"type": "object", "additionalProperties": schemaOf(t.Elem(), nil)}
	case reflect.Bool:
		return schema{"type": "boolean"}
	case reflect.Int:
		return schema{"type": "integer"}
	case reflect.Float64:
		return schema{"type": "number"}
	}
	if len(words) > 0 {
		return schema{"enum": words}
	}
	return schema{"type": []string{"string", "number"}} // a number is a text too: doc: 40108
}

func schemaOfBlock(t reflect.Type) schema {
	properties, required := schema{}, []string{}
	for i, f := range shapeOf(t).fields {
		if f.refuse != "" {
			continue
		}
		one := schemaOf(t.Field(i).Type, f.words)
		one["description"] = f.doc
		if f.written != "" {
			one["default"] = inJSON(f)
		}
		if f.need != "" {
			required = append(required, f.name)
		}
		properties[f.name] = one
	}
	s := schema{"type": "object", "additionalProperties": false, "properties": properties}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

// inJSON gives a default as an editor would write it: a quantity as its text.
func inJSON(f field) any {
	if _, ok := dimensionOf[f.fallback.Type()]; ok {
		return f.written
	}
	return f.fallback.Interface()
}
