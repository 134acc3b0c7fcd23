package configs

import (
	"fmt"
	"strings"
)

// oneOf says what would be right for text: the word it was probably meant to
// be, or all that are known.
func oneOf(text string, known []string) string {
	if near := nearest(text, known); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "use one of " + strings.Join(known, ", ")
}

// orHint is oneOf with a hint where no known word is near.
func orHint(text string, known []string, hint string) string {
	if nearest(text, known) != "" {
		return oneOf(text, known)
	}
	return oneOf(text, known) + "; " + hint
}

// nearest finds the word of known that text was probably meant to be, or "".
func nearest(text string, known []string) string {
	best, least := "", 2+len(text)/3
	for _, word := range known {
		if d := distance(text, word, least); d < least {
			best, least = word, d
		}
	}
	return best
}

// distance counts the insertions, deletions and replacements between a and b
// (Levenshtein 1966), case aside. It gives up at enough.
func distance(a, b string, enough int) int {
	if max(len(a)-len(b), len(b)-len(a)) >= enough {
		return enough
	}
	a, b = strings.ToLower(a), strings.ToLower(b)
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diagonal, row[j] = row[j], min(row[j]+1, row[j-1]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
