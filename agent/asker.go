package main

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
)

// An asker puts questions to a person at a terminal. After the input ended it
// asks no more, and err says so.
type asker struct {
	in  *bufio.Scanner
	out io.Writer
	err error
}

func newAsker(in io.Reader, out io.Writer) *asker {
	return &asker{in: bufio.NewScanner(in), out: out}
}

// line asks for any text; "" is an answer.
func (a *asker) line(question string) string {
	if a.err != nil {
		return ""
	}
	fmt.Fprintf(a.out, "%s: ", question)
	if !a.in.Scan() {
		if a.err = a.in.Err(); a.err == nil {
			a.err = io.ErrUnexpectedEOF
		}
		return ""
	}
	return strings.TrimSpace(a.in.Text())
}

// choose asks for one of some words until the answer is one; an empty answer
// is otherwise.
func (a *asker) choose(question string, words []string, otherwise string) string {
	prompt := question + " [" + strings.Join(words, ", ") + "]"
	if otherwise != "" {
		prompt += " (empty: " + otherwise + ")"
	}
	for {
		answer := a.line(prompt)
		switch {
		case answer == "" || a.err != nil:
			return otherwise
		case slices.Contains(words, answer):
			return answer
		}
		fmt.Fprintf(a.out, "%q is not one of them\n", answer)
	}
}

// answerTo asks until the answer can be read.
func answerTo[T any](a *asker, question string, read func(string) (T, error)) T {
	for {
		v, err := read(a.line(question))
		if err == nil || a.err != nil {
			return v
		}
		fmt.Fprintln(a.out, err)
	}
}
