package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"io"
	"net/http"
	"path"
	"strconv"
	"strings"
)

//go:embed static
var staticFiles embed.FS

//go:embed templates
var templateFiles embed.FS

// An asset is a static file, packed once at the start; a large one is kept
// packed (gzip -9 -n) in the program too, and has no plain form.
type asset struct {
	plain, packed []byte
	kind          string
}

var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".LICENSE": "text/plain; charset=utf-8",
}

// assets are the static files by name, and assetsHash changes when any of them
// or a template does.
var assets, assetsHash = loadAssets()

func loadAssets() (map[string]asset, string) {
	all, sum := map[string]asset{}, sha256.New()
	for _, folder := range []string{"static", "templates"} {
		files := staticFiles
		if folder == "templates" {
			files = templateFiles
		}
		entries, err := files.ReadDir(folder)
		if err != nil {
			panic(err)
		}
		for _, e := range entries {
			text, err := files.ReadFile(path.Join(folder, e.Name()))
			if err != nil {
				panic(err)
			}
			sum.Write(text)
			if name, large := strings.CutSuffix(e.Name(), ".gz"); large {
				all[name] = asset{nil, text, kinds[path.Ext(name)]}
			} else if folder == "static" {
				all[name] = asset{text, packed(text), kinds[path.Ext(name)]}
			}
		}
	}
	return all, hex.EncodeToString(sum.Sum(nil)[:6])
}

// open gives the asset as it is unpacked.
func (a *asset) open() []byte {
	if a.plain != nil {
		return a.plain
	}
	r, err := gzip.NewReader(bytes.NewReader(a.packed))
	if err != nil {
		panic(err) // a test unpacks every one
	}
	text, err := io.ReadAll(r)
	if err != nil {
		panic(err)
	}
	return text
}

func packed(text []byte) []byte {
	var b bytes.Buffer
	w, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
	_, _ = w.Write(text) // memory does not fail
	_ = w.Close()
	return b.Bytes()
}

// assetPath is where a page asks for a static file: the hash lets a browser
// keep it for good.
func assetPath(name string) string { return "/static/" + name + "?" + assetsHash }

func serveAsset(w http.ResponseWriter, r *http.Request) {
	a, ok := assets[r.PathValue("file")]
	if !ok {
		http.Error(w, "there is no such file", http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	body := a.packed
	if unpacks(r) {
		h.Set("Content-Encoding", "gzip")
	} else {
		body = a.open()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	_, _ = w.Write(body) // a reader that left is no concern of ours
}

// parsePages parses the templates. "render" and "part" need the set they are
// in, which a template cannot name by itself.
func parsePages() (*template.Template, error) {
	t := template.New("")
	run := func(name string, data any) (template.HTML, error) {
		var b bytes.Buffer
		err := t.ExecuteTemplate(&b, name, data)
		return template.HTML(b.String()), err
	}
	t.Funcs(template.FuncMap{
		"asset":  assetPath,
		"steps":  stepsOf,
		"spaced": spaced, "sentence": sentence,
		"render": run,
		"part": func(s *screen, id string) (template.HTML, error) {
			one, err := s.part(id)
			if err != nil {
				return "", err
			}
			return run(one.Template, one.Data)
		},
	})
	return t.ParseFS(templateFiles, "templates/*.html")
}
