package page_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"pumpside/exporter/page"
)

// handler is a page on loopback without users.
func handler(t testing.TB, f *fakeSource) http.Handler {
	t.Helper()
	p, err := page.New(page.Settings{Loopback: true}, f)
	if err != nil {
		t.Fatal(err)
	}
	return p.Handler()
}

func ask(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	r.Host = "localhost"
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// FuzzQueries: whatever the path and the query, the answer is a page or a JSON
// text that is whole, never a fault of the server, and nothing of the query
// stands in it as markup.
func FuzzQueries(f *testing.F) {
	for _, seed := range [][2]string{
		{"/", ""},
		{"/alarms", "hours=8&pump=gp-1&alarm=no_flow"},
		{"/handover", "hours=-1"},
		{"/service", "for=gp-1/oil"},
		{"/pump/<b>", "x"},
		{"/api/v1/pump/gp-1/trend", "signal=discharge_pressure&from=1&to=1e300"},
		{"/api/v1/journal", "limit=0"},
		{"/events", "at=/pump/x"},
		{"/static/page.css", "1"},
		{"/login", "to=//x<script>"},
	} {
		f.Add(seed[0], seed[1])
	}
	h := handler(f, newSource())
	f.Fuzz(func(t *testing.T, path, query string) {
		if strings.HasPrefix(path, "/events") {
			return // a stream that is found does not end
		}
		u := &url.URL{Path: "/" + strings.TrimPrefix(path, "/"), RawQuery: query}
		r, err := http.NewRequest(http.MethodGet, "http://localhost"+u.String(), nil)
		if err != nil {
			return
		}
		w := ask(h, r)
		if w.Code >= 500 {
			t.Errorf("GET %s: %d %s", u, w.Code, w.Body)
		}
		switch kind := w.Header().Get("Content-Type"); {
		case strings.HasPrefix(kind, "text/html"):
			if !bytes.HasSuffix(bytes.TrimSpace(w.Body.Bytes()), []byte("</html>")) && w.Code != http.StatusMovedPermanently && w.Code != http.StatusTemporaryRedirect {
				t.Errorf("GET %s: the page is cut off:\n%s", u, w.Body)
			}
			if strings.Contains(w.Body.String(), "<b>") && strings.Contains(query+path, "<b>") && !strings.Contains(w.Body.String(), "&lt;b&gt;") {
				t.Errorf("GET %s: markup of the request is in the page", u)
			}
		case strings.Contains(kind, "json"):
			if !json.Valid(w.Body.Bytes()) {
				t.Errorf("GET %s: no JSON:\n%s", u, w.Body)
			}
		}
	})
}

// FuzzForms: whatever is posted without a session, nothing is asked of the
// rules.
func FuzzForms(f *testing.F) {
	f.Add("/orders", "pump=gp-1&verb=acknowledge&alarm=no_flow&token=A")
	f.Add("/orders", "verb=record_service&job=gp-1/oil&undoes=99999999999999999999&panel_hours=1,5")
	f.Add("/logout", "token=")
	f.Add("/units", "units=metric&back=//evil.example")
	f.Add("/api/v1/orders", `{"pump":"gp-1","verb":"acknowledge"}`)
	source := newSource()
	h := handler(f, source)
	f.Fuzz(func(t *testing.T, path, body string) {
		if !strings.HasPrefix(path, "/") || path == "/login" {
			return
		}
		r, err := http.NewRequest(http.MethodPost, "http://localhost"+(&url.URL{Path: path}).String(), strings.NewReader(body))
		if err != nil {
			return
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := ask(h, r)
		if w.Code >= 500 || len(source.orders) > 0 {
			t.Errorf("POST %s %q: %d, orders %v", path, body, w.Code, source.orders)
		}
		if to := w.Header().Get("Location"); to != "" && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//")) {
			t.Errorf("POST %s %q leads to %q", path, body, to)
		}
	})
}
