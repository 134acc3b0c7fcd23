package page

import (
	"compress/gzip"
	"net/http"
	"strings"
	"sync"
)

var gzips = sync.Pool{New: func() any { w, _ := gzip.NewWriterLevel(nil, gzip.BestSpeed); return w }}

// compressed packs what is text for those who can unpack it. Assets are packed
// already and an event stream must not wait.
func compressed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !unpacks(r) || r.URL.Path == "/events" || strings.HasPrefix(r.URL.Path, "/static/") {
			next.ServeHTTP(w, r)
			return
		}
		z := &packer{ResponseWriter: w}
		defer z.close()
		next.ServeHTTP(z, r)
	})
}

func unpacks(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept-Encoding"), "gzip")
}

// A packer packs the body from its first byte on; an answer without a body
// stays as it is.
type packer struct {
	http.ResponseWriter
	status int
	zip    *gzip.Writer
}

func (p *packer) WriteHeader(status int) { p.status = status }

func (p *packer) Write(b []byte) (int, error) {
	if p.zip == nil {
		p.zip = gzips.Get().(*gzip.Writer)
		p.zip.Reset(p.ResponseWriter)
		h := p.Header()
		h.Set("Content-Encoding", "gzip")
		h.Add("Vary", "Accept-Encoding")
		h.Del("Content-Length")
		if p.status != 0 {
			p.ResponseWriter.WriteHeader(p.status)
		}
	}
	return p.zip.Write(b)
}

func (p *packer) close() {
	if p.zip == nil {
		if p.status != 0 {
			p.ResponseWriter.WriteHeader(p.status)
		}
		return
	}
	_ = p.zip.Close() // a reader that left is no concern of ours
	gzips.Put(p.zip)
}

// Unwrap lets http.ResponseController find the writer beneath.
func (p *packer) Unwrap() http.ResponseWriter { return p.ResponseWriter }
