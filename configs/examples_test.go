package configs

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestExamplesLoadWithoutProblemOrNote(t *testing.T) {
	paths, err := filepath.Glob("examples/*.yaml")
	if err != nil || len(paths) != 5 {
		t.Fatalf("%d examples, want one for each of 5 shapes of a site: %v", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".yaml"), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			c, err := Load(path, text)
			if err != nil {
				t.Fatal(err)
			}
			if len(c.Notes) > 0 {
				t.Errorf("notes:\n%v", c.Notes)
			}
			if !strings.HasPrefix(string(text), "# ") {
				t.Error("does not say what shape of site it is for")
			}
		})
	}
}
