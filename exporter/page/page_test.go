package page_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"pumpside/exporter/page"
)

var update = flag.Bool("update", false, "write the golden files anew")

// A visitor is somebody with a browser and its cookies.
type visitor struct {
	t      testing.TB
	base   string
	client *http.Client
}

func visit(t testing.TB, base string) *visitor {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{t, base, &http.Client{Jar: jar}}
}

func (v *visitor) do(r *http.Request) (int, string, http.Header) {
	v.t.Helper()
	answer, err := v.client.Do(r)
	if err != nil {
		v.t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return answer.StatusCode, string(body), answer.Header
}

func (v *visitor) get(path string) (int, string) {
	v.t.Helper()
	r, err := http.NewRequest(http.MethodGet, v.base+path, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	status, body, _ := v.do(r)
	return status, body
}

func (v *visitor) post(path string, form url.Values, headers ...string) (int, string) {
	v.t.Helper()
	r, err := http.NewRequest(http.MethodPost, v.base+path, strings.NewReader(form.Encode()))
	if err != nil {
		v.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	status, body, _ := v.do(r)
	return status, body
}

var tokenIn = regexp.MustCompile(`name="token" value="([A-Z2-7]+)"`)

// signIn signs in and gives the token of the session.
func (v *visitor) signIn(name string) string {
	v.t.Helper()
	status, body := v.post("/login", url.Values{"user": {name}, "password": {password}, "to": {"/alarms"}})
	if status != http.StatusOK {
		v.t.Fatalf("signing in as %s: %d\n%s", name, status, body)
	}
	found := tokenIn.FindStringSubmatch(body)
	if found == nil {
		v.t.Fatalf("no token on the page after signing in:\n%s", body)
	}
	return found[1]
}

// hashed is the hash of the password of these tests, made once: it is slow on
// purpose.
var hashed = sync.OnceValue(func() string {
	folder, err := os.MkdirTemp("", "users-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	if err := page.AddUser(folder+"/users", "x", page.Viewer, password); err != nil {
		panic(err)
	}
	text, err := os.ReadFile(folder + "/users")
	if err != nil {
		panic(err)
	}
	_, hash, _ := strings.Cut(string(text), "x:viewer:")
	return strings.TrimSpace(hash)
})

// addPeople writes the users of these tests.
func addPeople(t testing.TB, path string) {
	t.Helper()
	var b strings.Builder
	for name, role := range people {
		b.WriteString(name + ":" + role.String() + ":" + hashed() + "\n")
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestScreensAnswerTheirQuestions(t *testing.T) {
	server, _ := serve(t, newSource(), nil)
	tests := []struct {
		name, path string
		want       []string
		never      []string
	}{
		{"the site names the pump to go to first", "/", []string{"1 of 2 pumps needs a person", "Train A:</b> <span>glycol circulates</span>, 1 of 1 pumps needed deliver", `First: <a href="/pump/gp-1">GP-1</a>`, "high alarm", "12\u202f345.6", "93 %", "due soon"}, nil},
		{"the pump says what to do and marks the suspected valve", "/pump/gp-1", []string{"What to do", `class="valve suspect"`, "72 %", "7200", "4000 to 8500", "Before anyone touches it"}, nil},
		{"a bad value is shown as none, with age and reason", "/pump/gp-1", []string{"--", "bad: timeout, last good 5 min ago"}, []string{">99.0<", "5940"}},
		{"a well pump says so", "/pump/gp-2", []string{"Nothing calls for a person.", "not determinable with the signals installed"}, []string{`class="valve suspect"`}},
		{"times are in the zone of the site, with the date", "/alarms", []string{"2026-03-01 11:50", "MST"}, []string{"18:50"}},
		{"who may not change anything is asked to sign in", "/alarms", []string{"Sign in</a> to acknowledge"}, []string{`name="verb"`}},
		{"the due list says what of what is used", "/service", []string{"1860 of 2000 h run", "Visit by 2026-03-10, about 1 h 30 min of work", "oil 2.5 L", "lock out and tag out", "93 % used, due 2026-03-10", "without a date"}, nil},
		{
			"the handover tells of the circulation, the pumps and what is not known", "/handover",
			[]string{
				`glycol does not circulate and is wanted</span>, 0 of 1 pumps needed deliver, no standby is ready. 22.5 L/min, target 25.0 L/min by the gas; in this time 14 m³ circulated of 36 m³ needed (39 %); motors used 84.0 kWh, 11.76 EUR; <b>circulation lost 2 times, 20 min</b>`,
				`<td><b>now</b></td><th scope="row"><a href="/pump/gp-1">GP-1</a></th><td>no glycol flow</td><td>control room</td><td>strainer element</td>`,
				`<td>this week</td><th scope="row">the site</th>`,
				`<td class="long">running <span class="soft">for 3 h</span></td><td class="num">11.5 h</td><td class="num">-- h</td><td class="num">2</td><td class="num">15 m³</td><td class="num">-- kWh</td>`,
				`stopped in hand <span class="soft">since when is not known; whether it should run is not known; its drive restarted by itself 3 times in 24 h</span>`,
				"Came in this time", `<a href="/bus#device-module">module</a>`,
				"not as learned since 2026-03-01 05:00, likeliest loss in discharge half, cylinder 2 72 %; last repair, oil change of 2026-01-30 12:00: it did not hold",
				"1 alarm, 2 advisories, 2 calls, 1 of them at night, 1 because nobody had acknowledged. 15.2 alarms a pump and month; one at most is the aim. 3 active, 1 of them for more than 24 h; 1 not acknowledged. Half were acknowledged within 4 min.",
			},
			nil,
		},
		{"the installer sees words, values and why not", "/bus", []string{"9ECB 45DA", "7200", "holding 107", "float32 CDAB", "bad: timeout", "timeout: 3", "0123456789ab", "diaphragm_leak"}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			status, body := visit(t, server.URL).get(tt.path)
			if status != http.StatusOK {
				t.Fatalf("status %d", status)
			}
			for _, want := range tt.want {
				if !strings.Contains(body, want) {
					t.Errorf("%s does not say %q\n%s", tt.path, want, body)
				}
			}
			for _, never := range tt.never {
				if strings.Contains(body, never) {
					t.Errorf("%s says %q", tt.path, never)
				}
			}
		})
	}
}

func TestBadInputGetsAClearAnswer(t *testing.T) {
	source := newSource()
	server, _ := serve(t, source, nil)
	tests := []struct {
		name, path string
		status     int
		want       string
	}{
		{"a pump that is not there", "/pump/gp-9", 404, "There is no pump “gp-9” at this site."},
		{"a screen that is not there", "/valves", 404, "There is no such page here."},
		{"path tricks", "/pump/..%2f..%2fetc%2fpasswd", 404, "There is no pump"},
		{"path tricks with static files", "/static/..%2fserver.go", 404, "there is no such file"},
		{"a pump with a script for a name", "/pump/%3Cscript%3Ealert(1)%3C%2Fscript%3E", 404, "&lt;script&gt;"},
		{"hours that are none", "/alarms?hours=soon", 400, "Hours is “soon”; write a whole number from 1 to"},
		{"an alarm that cannot be one", "/alarms?alarm=%27OR+1%3D1", 400, "is no name of an alarm"},
		{"a filter for a pump that is not there", "/alarms?pump=x", 404, "There is no pump “x”"},
		{"a query that is torn", "/alarms?hours=%zz", 400, "The query is not understood."},
		{"a query that is endless", "/alarms?alarm=" + strings.Repeat("a", 3000), 414, "The query is too long."},
		{"a report over a year", "/handover?hours=9999", 400, "write a whole number from 1 to 744"},
		{"the API: a pump that is not there", "/api/v1/pump/gp-9", 404, `"detail":"there is no pump “gp-9” at this site"`},
		{"the API: a signal that is not there", "/api/v1/pump/gp-1/trend?signal=x", 404, `has no signal “x”`},
		{"the API: time that runs backwards", "/api/v1/pump/gp-1/trend?signal=discharge_pressure&from=2&to=1", 400, `from must be before to`},
		{"the API: a hundred years", "/api/v1/pump/gp-1/trend?signal=discharge_pressure&from=0", 400, `longer than two years`},
		{"the API: a million points", "/api/v1/pump/gp-1/trend?signal=discharge_pressure&points=1000000", 400, `from 1 to 2000`},
		{"the API: no number", "/api/v1/pump/gp-1/trend?signal=discharge_pressure&from=NaN", 400, `write seconds since 1970`},
		{"the API: nothing there", "/api/v1/x", 404, `"status":404`},
		{"events of no screen", "/events?at=/nowhere", 404, `there is no screen`},
		{"events without a screen", "/events", 404, `there is no screen`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			status, body := visit(t, server.URL).get(tt.path)
			if status != tt.status || !strings.Contains(body, tt.want) {
				t.Errorf("got %d, want %d with %q:\n%s", status, tt.status, tt.want, body)
			}
		})
	}
	if len(source.orders) > 0 {
		t.Errorf("orders were given: %v", source.orders)
	}
}

func TestAnswersOfTheAPIAreAsDocumented(t *testing.T) {
	server, _ := serve(t, newSource(), nil)
	const golden = "testdata/api.txtar"
	archive, err := txtar.ParseFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	for i := range archive.Files {
		file := &archive.Files[i]
		status, body := visit(t, server.URL).get("/api/v1" + file.Name)
		if status != http.StatusOK {
			t.Errorf("%s: %d %s", file.Name, status, body)
			continue
		}
		var b bytes.Buffer
		if err := json.Indent(&b, []byte(body), "", " "); err != nil {
			t.Fatal(err)
		}
		if *update {
			file.Data = b.Bytes()
		} else if d := cmp.Diff(string(file.Data), b.String()); d != "" {
			t.Errorf("%s (-want +got):\n%s", file.Name, d)
		}
	}
	if *update {
		if err := os.WriteFile(golden, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestUnitsAreEachViewersOwn(t *testing.T) {
	server, _ := serve(t, newSource(), nil)
	v := visit(t, server.URL)
	if status, _ := v.post("/units", url.Values{"units": {"us_field"}, "back": {"/pump/gp-1"}}); status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	if _, body := v.get("/pump/gp-1"); !strings.Contains(body, "1044") || !strings.Contains(body, "psi") { // 7.2 MPa
		t.Errorf("no psi after choosing US units")
	}
	if _, body := visit(t, server.URL).get("/pump/gp-1"); !strings.Contains(body, "7200") || strings.Contains(body, "psi") {
		t.Errorf("another viewer got US units too")
	}
	if status, body := v.post("/units", url.Values{"units": {"cubits"}}); status != http.StatusBadRequest || !strings.Contains(body, "Units are metric or us_field.") {
		t.Errorf("cubits: %d", status)
	}
}

func TestABrokenStoreKeepsNoValueFromBeingShown(t *testing.T) {
	source := newSource()
	source.broken = errors.New("disk I/O error")
	server, _ := serve(t, source, nil)
	for path, want := range map[string]string{"/pump/gp-1": "7200", "/alarms": "no glycol flow", "/service": "1860 of 2000 h run"} {
		status, body := visit(t, server.URL).get(path)
		if status != http.StatusOK || !strings.Contains(body, want) || !strings.Contains(body, "The journal cannot be read: disk I/O error.") {
			t.Errorf("%s: %d without %q", path, status, want)
		}
	}
	if status, body := visit(t, server.URL).get("/handover"); status != 200 || !strings.Contains(body, "The report could not be made, so what the pumps did is not known: disk I/O error") || !strings.Contains(body, "no glycol flow") {
		t.Errorf("the handover: %d", status)
	}
	if status, body := visit(t, server.URL).get("/api/v1/journal"); status != 500 || !strings.Contains(body, `"detail":"disk I/O error"`) {
		t.Errorf("the API: %d %s", status, body)
	}
}

func TestOverTLSTheSessionStaysOnTLS(t *testing.T) {
	server, users := serve(t, newSource(), func(s *page.Settings) { s.Secure = true })
	addPeople(t, users)
	v := visit(t, server.URL)
	v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	r, _ := http.NewRequest(http.MethodPost, server.URL+"/login", strings.NewReader(url.Values{"user": {"olaf"}, "password": {password}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	_, _, h := v.do(r)
	cookie, err := http.ParseSetCookie(h.Get("Set-Cookie"))
	if err != nil || cookie.Name != "__Host-pumpside_session" || !cookie.Secure || !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode || cookie.Path != "/" {
		t.Errorf("cookie %+v, %v", cookie, err)
	}
	if h.Get("Strict-Transport-Security") == "" {
		t.Error("nothing keeps the browser on TLS")
	}
}

func TestEveryAnswerCarriesItsProtection(t *testing.T) {
	server, _ := serve(t, newSource(), nil)
	for _, path := range []string{"/", "/pump/gp-1", "/nope", "/api/v1/site", "/static/page.css", "/login"} {
		r, _ := http.NewRequest(http.MethodGet, server.URL+path, nil)
		_, body, h := visit(t, server.URL).do(r)
		policy := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "default-src 'none'; script-src 'self'; style-src 'self';") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: policy %q", path, policy)
		}
		for header, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "X-Frame-Options": "DENY"} {
			if h.Get(header) != want {
				t.Errorf("%s: %s is %q", path, header, h.Get(header))
			}
		}
		if regexp.MustCompile(`<script>|\son\w+=|\sstyle=|https?://`).MatchString(strings.ReplaceAll(body, "http://www.w3.org/2000/svg", "")) && strings.HasPrefix(body, "<!doctype") {
			t.Errorf("%s has script or style in the page, or something from outside", path)
		}
	}
}

func TestALoopbackPageAnswersToLoopbackNamesOnly(t *testing.T) {
	server, _ := serve(t, newSource(), nil)
	for host, want := range map[string]int{
		"localhost:8793": 200, "127.0.0.1": 200, "[::1]:8793": 200,
		"evil.example": http.StatusMisdirectedRequest, "127.0.0.1.evil.example:8793": http.StatusMisdirectedRequest, "": 400,
	} {
		r, _ := http.NewRequest(http.MethodGet, server.URL+"/api/v1/site", nil)
		r.Host = host
		if host == "" {
			continue // the client fills it in
		}
		if status, _, _ := visit(t, server.URL).do(r); status != want {
			t.Errorf("Host %q: %d, want %d", host, status, want)
		}
	}
}

func TestElsewhereReadingNeedsAName(t *testing.T) {
	server, users := serve(t, newSource(), func(s *page.Settings) { s.Loopback = false })
	v := visit(t, server.URL)
	if status, body := v.get("/pump/gp-1"); status != 200 || !strings.Contains(body, "there are no users") {
		t.Errorf("without users: %d", status)
	}
	addPeople(t, users)
	if status, body := v.get("/api/v1/site"); status != http.StatusUnauthorized || !strings.Contains(body, "sign in first") {
		t.Errorf("the API without a name: %d %s", status, body)
	}
	if status, _ := v.get("/events?at=/"); status != http.StatusUnauthorized {
		t.Errorf("events without a name: %d", status)
	}
	v.signIn("vera")
	if status, body := v.get("/pump/gp-1"); status != 200 || !strings.Contains(body, "vera, viewer") {
		t.Errorf("with a name: %d", status)
	}
}

func TestTheSheetToPrintHasItsOwnStylesAndNothingElse(t *testing.T) {
	server, users := serve(t, newSource(), func(s *page.Settings) { s.Loopback = false })
	addPeople(t, users)
	v := visit(t, server.URL)
	if status, body := v.get("/service/sheet"); status != http.StatusOK || !strings.Contains(body, "Sign in") {
		t.Errorf("to a stranger on the network: %d %.200s", status, body)
	}
	v.signIn("vera")
	r, _ := http.NewRequest(http.MethodGet, server.URL+"/service/sheet", nil)
	status, body, h := v.do(r)
	if status != http.StatusOK || !strings.Contains(body, "Isolation point") {
		t.Errorf("%d %s", status, body)
	}
	if got, want := h.Get("Content-Security-Policy"), "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"; got != want {
		t.Errorf("policy %q, want %q", got, want)
	}
}
