package pump

import (
	"fmt"
	"strings"
)

// names are the words for the values of a small enumeration, by value; the
// word of value 0 is empty because 0 means unknown.
type names[T ~uint8] []string

func (n names[T]) text(v T) string {
	if int(v) >= len(n) {
		return fmt.Sprintf("unknown(%d)", v)
	}
	return n[v]
}

func (n names[T]) parse(what, text string) (T, error) {
	for v, name := range n[1:] {
		if name == text {
			return T(v + 1), nil
		}
	}
	return 0, fmt.Errorf("%q is no %s; use one of %s", text, what, strings.Join(n[1:], ", "))
}
