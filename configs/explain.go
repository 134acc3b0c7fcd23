package configs

import (
	"fmt"
	"reflect"
	"regexp"
	"strings"
)

// Explain says what a key of the configuration is: what it means, its kind and
// unit, its default, the words it may be, and the keys below it. A key is
// written as problems write it, with or without places in lists:
// "pumps[0].signals", "devices.points.word_order". Where the site chooses the
// name, as in pumps.limits, any name will do. "" explains the whole file.
func Explain(key string) (string, error) {
	t := reflect.TypeFor[file]()
	var about field
	var walked []string
	for _, name := range keyNames(key) {
		t = elementOf(t)
		switch {
		case t.Kind() == reflect.Map:
			t, about = t.Elem(), field{doc: "A name of the site's own choice."}
		case t.Kind() != reflect.Struct:
			return "", fmt.Errorf("%s has no keys below it", strings.Join(walked, "."))
		default:
			s := shapeOf(t)
			i, known := s.byName[name]
			if !known {
				return "", fmt.Errorf("%s: unknown key; %s", strings.Join(append(walked, name), "."), oneOf(name, s.names))
			}
			t, about = t.Field(i).Type, s.fields[i]
		}
		walked = append(walked, name)
	}
	return explained(strings.Join(walked, "."), t, about), nil
}

var places = regexp.MustCompile(`\[\d*\]`)

func keyNames(key string) []string {
	key = places.ReplaceAllString(strings.TrimSpace(key), "")
	if key == "" {
		return nil
	}
	return strings.Split(key, ".")
}

// elementOf sees through pointers and lists.
func elementOf(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	return t
}

func explained(key string, t reflect.Type, about field) string {
	var b strings.Builder
	line := func(label, text string) {
		if text != "" {
			fmt.Fprintf(&b, "  %-9s %s\n", label, text)
		}
	}
	if key == "" {
		b.WriteString("The configuration: one YAML file.\n")
	} else {
		fmt.Fprintf(&b, "%s\n", key)
		line("what", about.doc+about.refuse)
		line("form", formOf(t))
		line("one of", strings.Join(about.words, ", "))
		line("default", about.written)
		line("needed", about.need)
	}
	if below := elementOf(t); below.Kind() == reflect.Struct {
		b.WriteString("keys below it:\n")
		for _, f := range shapeOf(below).fields {
			if f.refuse == "" {
				fmt.Fprintf(&b, "  %-22s %s\n", f.name, f.doc)
			}
		}
	}
	return b.String()
}

// formOf says in words what a value of a Go type looks like in the file.
func formOf(t reflect.Type) string {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if d, ok := dimensionOf[t]; ok {
		return fmt.Sprintf("a %v with its unit, such as %q", d, d.Example())
	}
	switch t.Kind() {
	case reflect.Struct:
		return "a block of keys"
	case reflect.Slice:
		return "a list, each " + formOf(t.Elem())
	case reflect.Map:
		return "a block of names of the site's own choice, each " + formOf(t.Elem())
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return "a text"
}
