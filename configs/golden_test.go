package configs

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "rewrite the wanted messages in testdata")

// TestMessages reads testdata/*.txtar. Each file of an archive is one case,
// named by what is wrong. Its lines begin with
//
//   - what is taken out of good.yaml, where it must stand once
//   - what is put in its place; at the end of the file when nothing was taken out
//     |  a line of a whole configuration instead of good.yaml
//     =  a wanted problem
//     ~  a wanted note
func TestMessages(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	archives, err := filepath.Glob("testdata/*.txtar")
	if err != nil || len(archives) == 0 {
		t.Fatalf("no archives in testdata: %v", err)
	}
	for _, name := range archives {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) { testArchive(t, name, string(good)) })
	}
}

func testArchive(t *testing.T, name, good string) {
	archive, err := txtar.ParseFile(name)
	if err != nil {
		t.Fatal(err)
	}
	for i := range archive.Files {
		f := &archive.Files[i]
		t.Run(f.Name, func(t *testing.T) {
			edit, text := edited(t, good, string(f.Data))
			got := edit + messages(text)
			if *update {
				f.Data = []byte(got)
				return
			}
			if d := cmp.Diff(string(f.Data), got); d != "" {
				t.Errorf("messages (-want +got):\n%s", d)
			}
		})
	}
	if *update {
		if err := os.WriteFile(name, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// edited gives the lines of a case without its messages, and the configuration
// they make.
func edited(t testing.TB, text, data string) (edit, config string) {
	t.Helper()
	var whole, out, in []string
	apply := func() {
		switch {
		case len(out) > 0:
			old := strings.Join(out, "\n")
			if n := strings.Count(text, old); n != 1 {
				t.Fatalf("%q stands %d times in good.yaml", old, n)
			}
			text = strings.Replace(text, old, strings.Join(in, "\n"), 1)
		case len(in) > 0:
			text += strings.Join(in, "\n") + "\n"
		}
		out, in = nil, nil
	}
	for line := range strings.Lines(data) {
		body := strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(body, "-"):
			if len(in) > 0 {
				apply()
			}
			out = append(out, strings.TrimPrefix(body[1:], " "))
		case strings.HasPrefix(body, "+"):
			in = append(in, strings.TrimPrefix(body[1:], " "))
		case strings.HasPrefix(body, "|"):
			whole = append(whole, strings.TrimPrefix(body[1:], " "))
		case strings.HasPrefix(body, "="), strings.HasPrefix(body, "~"):
			continue
		default:
			t.Fatalf("line %q begins with none of - + | = ~", body)
		}
		edit += line
	}
	apply()
	if whole != nil {
		text = strings.Join(whole, "\n") + "\n"
	}
	return edit, text
}

func messages(text string) string {
	var b strings.Builder
	c, err := Load("good.yaml", []byte(text))
	if problems, ok := errors.AsType[Problems](err); ok {
		for _, p := range problems {
			b.WriteString("= " + p.Error() + "\n")
		}
		return b.String()
	}
	for _, n := range c.Notes {
		b.WriteString("~ " + n.Error() + "\n")
	}
	return b.String()
}

func TestGoodConfigurationHasNoProblem(t *testing.T) {
	text, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if got := messages(string(text)); got != "" {
		t.Errorf("good.yaml:\n%s", got)
	}
}
