package page_test

import (
	"maps"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/exporter/page"
)

func TestRolesDecideWhatAPersonMayAskFor(t *testing.T) {
	shelve := url.Values{"pump": {"gp-1"}, "verb": {"shelve"}, "alarm": {"no_flow"}, "hours": {"4"}, "comment": {"mechanic on site"}}
	record := url.Values{"verb": {"record_service"}, "job": {"gp-1/oil"}, "comment": {"dark"}, "found": {"dark"}, "id": {"F1"}, "at": {"2026-03-01T10:30"}, "panel_hours": {"12345,6"}}
	panel := 12345.6
	tests := []struct {
		name   string
		who    string
		form   url.Values
		status int
		want   *drivers.Command // without its ID; nil: nothing was asked of the rules
		says   string
	}{
		{"a viewer may not acknowledge", "vera", url.Values{"pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}, 403, nil, "This needs the role operator; vera is viewer. Nothing was changed."},
		{"an operator acknowledges", "olaf", url.Values{"pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}, 200, &drivers.Command{User: "olaf", Verb: drivers.Acknowledge, Alarm: "no_flow"}, "Done: "},
		{"an operator shelves, with time and reason", "olaf", shelve, 200, &drivers.Command{User: "olaf", Verb: drivers.Shelve, Alarm: "no_flow", For: 4 * time.Hour, Comment: "mechanic on site"}, "Done: "},
		{"an operator may not record a service", "olaf", record, 403, nil, "This needs the role technician; olaf is operator."},
		{
			"a technician records a service with what was found, when and the panel's hours", "tess", record, 200,
			&drivers.Command{User: "tess", Verb: drivers.RecordService, Task: "oil", Comment: "dark", Service: &drivers.ServiceEntry{
				Task: "oil", Found: "dark", Note: "dark", At: time.Date(2026, 3, 1, 17, 30, 0, 0, time.UTC), PanelHours: &panel,
			}}, "Done: ",
		},
		{
			"a part swapped with that of another place, and all else a visit can say", "tess",
			url.Values{
				"verb": {"record_service"}, "job": {"gp-1/valves"}, "action": {"swapped"}, "cylinder": {"2"}, "side": {"suction"}, "other_cylinder": {"3"}, "other_side": {"discharge"},
				"oil_added": {"0,5"}, "oil_changed": {"2.5"}, "part": {"valve kit"}, "part_number": {"VK-1"}, "part_serial": {"S7"}, "part_batch": {"B3"}, "labour_hours": {"1.5"},
				"downtime_hours": {"2"}, "order": {"4711"}, "electrical_work": {"on"}, "rotation_confirmed": {"on"}, "line_changed": {"on"}, "hydraulic_end": {"on"},
			},
			200,
			&drivers.Command{User: "tess", Verb: drivers.RecordService, Task: "valves", Service: &drivers.ServiceEntry{
				Task: "valves", Action: "swapped", Cylinder: 2, Side: "suction", Swapped: &drivers.ServicePlace{Cylinder: 3, Side: "discharge"}, Added: 0.5, Filled: 2.5,
				Parts: []drivers.ServicePart{{Name: "valve kit", Number: "VK-1", Serial: "S7", Batch: "B3"}}, Labour: 1.5, Downtime: 2, Order: "4711",
				ElectricalWork: true, RotationConfirmed: true, LineChanged: true, HydraulicEnd: true,
			}}, "Done: ",
		},
		{
			"oil topped up is no task", "tess",
			url.Values{"verb": {"record_service"}, "job": {"gp-1/"}, "oil_added": {"0.3"}},
			200,
			&drivers.Command{User: "tess", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Added: 0.3}}, "Done: ",
		},
		{"an amount that is none", "tess", url.Values{"verb": {"record_service"}, "job": {"gp-1/oil"}, "oil_added": {"NaN"}}, 400, nil, "Oil added is “NaN”; want a number"},
		{"an hour meter without end", "tess", url.Values{"verb": {"record_service"}, "job": {"gp-1/oil"}, "panel_hours": {"1e999"}}, 400, nil, "Panel hours is “1e999”; want a number"},
		{"text that is none", "tess", url.Values{"verb": {"record_service"}, "job": {"gp-1/oil"}, "part": {"\xff"}}, 400, nil, "The text is not UTF-8"},
		{
			"a technician takes a record back", "tess",
			url.Values{"verb": {"record_service"}, "pump": {"gp-1"}, "undoes": {"3"}, "comment": {"wrong pump"}},
			200,
			&drivers.Command{User: "tess", Verb: drivers.RecordService, Comment: "wrong pump", Service: &drivers.ServiceEntry{Undoes: 3, Note: "wrong pump"}}, "Done: ",
		},
		{"a site alarm has no pump", "olaf", url.Values{"verb": {"acknowledge"}, "alarm": {"store_slow"}}, 200, &drivers.Command{User: "olaf", Verb: drivers.Acknowledge, Alarm: "store_slow"}, "Done: "},
		{"shelving needs a reason", "olaf", url.Values{"pump": {"gp-1"}, "verb": {"shelve"}, "alarm": {"no_flow"}, "comment": {"  "}}, 400, nil, "Say why, for those who come after you."},
		{"nothing else can be asked for", "tess", url.Values{"pump": {"gp-1"}, "verb": {"start"}}, 400, nil, "“start” is nothing that can be asked for"},
		{"a pump that is not there", "tess", url.Values{"pump": {"gp-9"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}, 404, nil, "There is no pump"},
		{"hours without end", "olaf", url.Values{"pump": {"gp-1"}, "verb": {"shelve"}, "alarm": {"no_flow"}, "hours": {"+Inf"}, "comment": {"x"}}, 400, nil, "The hours must be from 0"},
		{"no hours at all", "olaf", url.Values{"pump": {"gp-1"}, "verb": {"shelve"}, "alarm": {"no_flow"}, "hours": {"NaN"}, "comment": {"x"}}, 400, nil, "The hours must be from 0"},
		{"two values for one", "olaf", url.Values{"pump": {"gp-1", "gp-2"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}, 400, nil, "is in the form twice"},
		{"a novel for a comment", "olaf", url.Values{"pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}, "comment": {strings.Repeat("é", 501)}}, 400, nil, "The comment is longer than 500 characters"},
		{"a form too large to be one", "olaf", url.Values{"comment": {strings.Repeat("x", 20<<10)}}, 400, nil, "Nothing was changed."},
		{"a time that is none", "tess", url.Values{"verb": {"record_service"}, "job": {"gp-1/oil"}, "at": {"yesterday"}}, 400, nil, "The time of the work is “yesterday”"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			source := newSource()
			server, users := serve(t, source, nil)
			addPeople(t, users)
			v := visit(t, server.URL)
			form := url.Values{"token": {v.signIn(tt.who)}, "back": {"/alarms"}}
			maps.Copy(form, tt.form)
			status, body := v.post("/orders", form)
			if status != tt.status || !strings.Contains(body, tt.says) {
				t.Errorf("got %d, want %d with %q:\n%s", status, tt.status, tt.says, body)
			}
			var got *drivers.Command
			if len(source.orders) > 0 {
				c := source.orders[0]
				c.ID = ""
				got = &c
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("asked of the rules (-want +got):\n%s", d)
			}
		})
	}
}

func TestAScriptGivesOrdersWithTheTokenOfItsSession(t *testing.T) {
	source := newSource()
	server, users := serve(t, source, nil)
	addPeople(t, users)
	v := visit(t, server.URL)
	if status, body := v.get("/api/v1/session"); status != 401 || !strings.Contains(body, "nobody is signed in") {
		t.Errorf("before signing in: %d %s", status, body)
	}
	token := v.signIn("olaf")
	if status, body := v.get("/api/v1/session"); status != 200 || body != `{"user":"olaf","role":"operator","token":"`+token+"\"}\n" {
		t.Errorf("session: %d %s", status, body)
	}
	order := func(text string, headers ...string) (int, string) {
		t.Helper()
		r, _ := http.NewRequest(http.MethodPost, server.URL+"/api/v1/orders", strings.NewReader(text))
		r.Header.Set("Content-Type", "application/json")
		for i := 0; i < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		status, body, _ := v.do(r)
		return status, body
	}
	const acknowledge = `{"pump":"gp-1","verb":"acknowledge","alarm":"no_flow","command_id":"7"}`
	if status, _ := order(acknowledge); status != 403 {
		t.Errorf("without the token: %d", status)
	}
	if status, body := order(`{"pomp":1}`, "X-Form-Token", token); status != 400 || !strings.Contains(body, `unknown field \"pomp\"`) {
		t.Errorf("a misspelt order: %d %s", status, body)
	}
	if status, body := order(`{"pump":"gp-1","verb":"record_service","task":"oil"}`, "X-Form-Token", token); status != 403 || !strings.Contains(body, "needs the role technician") {
		t.Errorf("beyond the role: %d %s", status, body)
	}
	if len(source.orders) > 0 {
		t.Fatalf("orders were given: %v", source.orders)
	}
	if status, body := order(acknowledge, "X-Form-Token", token); status != 200 || !strings.Contains(body, `"accepted":true`) || source.orders[0].ID != "page-7" {
		t.Errorf("the real one: %d %s", status, body)
	}
	source.refuse = "no_flow is already acknowledged"
	if status, body := order(acknowledge, "X-Form-Token", token); status != 409 || !strings.Contains(body, `"accepted":false`) {
		t.Errorf("refused: %d %s", status, body)
	}
}

func TestForgedFormsChangeNothing(t *testing.T) {
	source := newSource()
	server, users := serve(t, source, nil)
	addPeople(t, users)
	v := visit(t, server.URL)
	token := v.signIn("tess")
	order := func(token string) url.Values {
		return url.Values{"token": {token}, "pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}
	}
	if status, body := v.post("/orders", order(token), "Sec-Fetch-Site", "cross-site"); status != 403 || !strings.Contains(body, "another site") {
		t.Errorf("from another site: %d", status)
	}
	if status, body := v.post("/orders", order(token), "Origin", "https://evil.example"); status != 403 || !strings.Contains(body, "another site") {
		t.Errorf("from another origin: %d", status)
	}
	if status, body := v.post("/orders", order("")); status != 403 || !strings.Contains(body, "does not belong to this session") {
		t.Errorf("without a token: %d", status)
	}
	if status, body := v.post("/orders", order("AAAA")); status != 403 || !strings.Contains(body, "does not belong to this session") {
		t.Errorf("with a made-up token: %d", status)
	}
	if status, body := visit(t, server.URL).post("/orders", order(token)); status != 401 || !strings.Contains(body, "sign in first") {
		t.Errorf("with somebody else's token: %d", status)
	}
	if status, _ := v.post("/orders", order(token), "Content-Type", "text/plain"); status != 415 {
		t.Errorf("as plain text: %d", status)
	}
	if status, body := v.post("/alarms", order(token)); status != 405 || !strings.Contains(body, "Nothing here takes a “POST”. Nothing was changed.") {
		t.Errorf("to a screen: %d", status)
	}
	if len(source.orders) > 0 {
		t.Errorf("orders were given: %v", source.orders)
	}
	if status, _ := v.post("/orders", order(token)); status != 200 || len(source.orders) != 1 {
		t.Errorf("the real form: %d, %d orders", status, len(source.orders))
	}
}

func TestARefusalIsShownAndAStoppingAgentSaysSo(t *testing.T) {
	source := newSource()
	source.refuse = "no_flow is already acknowledged"
	server, users := serve(t, source, nil)
	addPeople(t, users)
	v := visit(t, server.URL)
	form := url.Values{"token": {v.signIn("olaf")}, "back": {"/pump/gp-1"}, "pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}}
	if status, body := v.post("/orders", form); status != 200 || !strings.Contains(body, "Refused: ") {
		t.Errorf("refused: %d\n%s", status, body)
	}
	if _, body := v.get("/pump/gp-1"); strings.Contains(body, "Refused: ") {
		t.Error("what was said is said again")
	}
	form.Set("comment", "the agent stops")
	if status, body := v.post("/orders", form); status != 503 || !strings.Contains(body, "The agent is stopping. Nothing was changed.") {
		t.Errorf("stopping: %d", status)
	}
}

func TestTheWayBackLeadsNowhereElse(t *testing.T) {
	server, users := serve(t, newSource(), nil)
	addPeople(t, users)
	for _, to := range []string{"https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)", "/x\r\nSet-Cookie: a=b"} {
		v := visit(t, server.URL)
		v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
		r, _ := http.NewRequest(http.MethodPost, server.URL+"/login", strings.NewReader(url.Values{"user": {"olaf"}, "password": {password}, "to": {to}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		_, _, h := v.do(r)
		if h.Get("Location") != "/" {
			t.Errorf("to %q goes to %q", to, h.Get("Location"))
		}
	}
}

func TestGuessingIsSlowedDown(t *testing.T) {
	server, users := serve(t, newSource(), nil)
	addPeople(t, users)
	v := visit(t, server.URL)
	guess := url.Values{"user": {"olaf"}, "password": {"guess-1234567"}}
	for i := range 3 {
		if status, body := v.post("/login", guess); status != 403 || !strings.Contains(body, "Name or password is wrong.") {
			t.Fatalf("guess %d: %d", i, status)
		}
	}
	if status, body := v.post("/login", url.Values{"user": {"olaf"}, "password": {password}}); status != 429 || !strings.Contains(body, "Too many attempts. Try again in") {
		t.Errorf("after three guesses even the right password must wait: %d", status)
	}
}

// Asked in parallel, each guess used to pass the brake before the first one was
// found wrong.
func TestGuessingInParallelIsSlowedDownAllTheSame(t *testing.T) {
	server, users := serve(t, newSource(), nil)
	addPeople(t, users)
	var checked, refused atomic.Int32
	var guesses sync.WaitGroup
	for range 25 {
		guesses.Go(func() {
			answer, err := http.PostForm(server.URL+"/login", url.Values{"user": {"olaf"}, "password": {"guess-1234567"}})
			if err != nil {
				t.Error(err)
				return
			}
			_ = answer.Body.Close()
			switch answer.StatusCode {
			case http.StatusForbidden:
				checked.Add(1)
			case http.StatusTooManyRequests:
				refused.Add(1)
			}
		})
	}
	guesses.Wait()
	if checked.Load() > 3 || checked.Load()+refused.Load() != 25 {
		t.Errorf("of 25 simultaneous guesses %d were checked and %d refused", checked.Load(), refused.Load())
	}
}

func TestASessionEndsWithItsUser(t *testing.T) {
	source := newSource()
	server, users := serve(t, source, nil)
	addPeople(t, users)
	v := visit(t, server.URL)
	token := v.signIn("olaf")
	if err := page.RemoveUser(users, "olaf"); err != nil {
		t.Fatal(err)
	}
	status, _ := v.post("/orders", url.Values{"token": {token}, "pump": {"gp-1"}, "verb": {"acknowledge"}, "alarm": {"no_flow"}})
	if status != 401 || len(source.orders) > 0 {
		t.Errorf("a removed user: %d, %d orders", status, len(source.orders))
	}
}

func TestUsersFile(t *testing.T) {
	path := t.TempDir() + "/users"
	for _, tt := range []struct {
		name, user, password string
		role                 page.Role
		want                 string
	}{
		{"a short password", "olaf", "short", page.Operator, "a password has 10 to 128 characters"},
		{"a name that would break the file", "ol:af", password, page.Operator, `"ol:af" is no user name: letters, digits, . - _ only, 32 at most`},
		{"the name as a password", "olaf-the-viking", "Olaf-The-Viking", page.Operator, "the password must not be the name"},
		{"nobody", "olaf", password, page.Nobody, "a user needs a role: viewer, operator or technician"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := page.AddUser(path, tt.user, tt.role, tt.password); err == nil || err.Error() != tt.want {
				t.Errorf("error = %v, want %s", err, tt.want)
			}
		})
	}
	if err := page.AddUser(path, "olaf", page.Operator, password); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	text, _ := os.ReadFile(path)
	if strings.Contains(string(text), password) || !strings.Contains(string(text), "olaf:operator:$argon2id$v=19$m=7168,t=5,p=1$") {
		t.Errorf("the file: %s", text)
	}
	if err := page.RemoveUser(path, "vera"); err == nil || err.Error() != `there is no user "vera"` {
		t.Errorf("removing nobody: %v", err)
	}
	if err := os.WriteFile(path, append(text, "eve:root:x\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := page.ReadUsers(path); err == nil || !strings.HasSuffix(err.Error(), `users:3: "root" is no role; use viewer, operator or technician`) {
		t.Errorf("a damaged file: %v", err)
	}
}

func TestAPasswordKeptInAnOldWayMustBeSetAgain(t *testing.T) {
	server, users := serve(t, newSource(), nil)
	addPeople(t, users)
	text, _ := os.ReadFile(users)
	const old = "otto:operator:pbkdf2-sha256$600000$c2FsdA$aGFzaA\n"
	if err := os.WriteFile(users, append([]byte(old), text...), 0o600); err != nil {
		t.Fatal(err)
	}
	v := visit(t, server.URL)
	if status, body := v.post("/login", url.Values{"user": {"otto"}, "password": {password}}); status != 403 || !strings.Contains(body, "The password of otto must be set again, on the gateway: pumpside user add otto --role operator") {
		t.Errorf("signing in: %d\n%s", status, body)
	}
	v.signIn("tess") // the others are not concerned
	if err := page.AddUser(users, "vera", page.Viewer, password); err != nil {
		t.Fatal(err)
	}
	if text, _ := os.ReadFile(users); !strings.Contains(string(text), old) {
		t.Errorf("the line is lost when another changes:\n%s", text)
	}
	if err := page.AddUser(users, "otto", page.Operator, password); err != nil {
		t.Fatal(err)
	}
	v.signIn("otto")
}
