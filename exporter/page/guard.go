package page

import (
	"net"
	"net/http"
	"net/url"
	"strings"
)

// bodyMost is the largest body of a request, in bytes, and queryMost the
// longest query.
const (
	bodyMost  = 16 << 10
	queryMost = 2 << 10
)

// policy lets a page use what came from here and nothing else: no script or
// style in the page itself, no frame around it.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard stands before everything: headers, sizes, names.
func (p *Page) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		h.Set("Cache-Control", "no-store")
		if p.set.Secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		r.Body = http.MaxBytesReader(w, r.Body, bodyMost)
		switch {
		case p.set.Loopback && !loopbackName(r.Host):
			http.Error(w, "this page answers to localhost only", http.StatusMisdirectedRequest)
		case len(r.URL.RawQuery) > queryMost:
			p.fail(w, r, http.StatusRequestURITooLong, "The query is too long.")
		case !plainQuery(r.URL.RawQuery):
			p.fail(w, r, http.StatusBadRequest, "The query is not understood.")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// plainQuery reports whether a query can be read without leaving parts out.
func plainQuery(raw string) bool {
	_, err := url.ParseQuery(raw)
	return err == nil
}

// loopbackName reports whether a Host header names this machine by a name that
// no name server can give to another.
func loopbackName(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.Trim(name, "[]")
	ip := net.ParseIP(name)
	return strings.EqualFold(name, "localhost") || ip != nil && ip.IsLoopback()
}

// localPath gives a path of this page out of a form or query, "/" for anything
// that leads elsewhere.
func localPath(text string) string {
	u, err := url.Parse(text)
	if err != nil || u.IsAbs() || u.Host != "" || u.Opaque != "" || !strings.HasPrefix(u.Path, "/") ||
		strings.HasPrefix(u.Path, "//") || strings.ContainsAny(text, "\\\r\n\t") {
		return "/"
	}
	return u.RequestURI()
}

func urlQuery(text string) string { return url.QueryEscape(text) }
