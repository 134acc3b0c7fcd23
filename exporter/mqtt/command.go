package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"pumpside/drivers"
)

// Bounds of a command.
const (
	mostCommandBytes = 4096
	longestName      = 64   // characters of command_id, user, alarm and task
	longestComment   = 1000 // characters
	longestExpiry    = 24 * time.Hour
	shortestShelving = time.Minute
	longestShelving  = 24 * time.Hour
	defaultShelving  = 8 * time.Hour
)

// A CommandPayload is a person's request: exactly one of the four.
type CommandPayload struct {
	CommandID string    `json:"command_id"` // the sender's own, unique
	User      string    `json:"user"`       // who asks
	ExpiresAt time.Time `json:"expires_at"` // at most 24 h ahead; an outdated request must not act

	Ack           *AckRequest     `json:"ack"`
	Shelve        *ShelveRequest  `json:"shelve"`
	Unshelve      *AckRequest     `json:"unshelve"`
	ServiceRecord *ServiceRequest `json:"service_record"`
}

// An AckRequest names an alarm.
type AckRequest struct {
	Alarm   string `json:"alarm"`
	Comment string `json:"comment"`
}

// A ShelveRequest silences an alarm for a while.
type ShelveRequest struct {
	Alarm     string `json:"alarm"`
	DurationS *int64 `json:"duration_s"` // 60 to 86400; 8 h when left out
	Comment   string `json:"comment"`    // why; must be given
}

// A ServiceRequest says that a service task was done. What is left out is not
// known; the words are those of the service rules, which check them.
type ServiceRequest struct {
	Task    string `json:"task"`
	Comment string `json:"comment"`

	DoneAt     *time.Time `json:"done_at"` // now when left out
	By         string     `json:"by"`
	Action     string     `json:"action"`
	Found      string     `json:"found"`
	Cylinder   int        `json:"cylinder"`
	Side       string     `json:"side"`
	PanelH     *float64   `json:"panel_h"`
	OilAdded   float64    `json:"oil_added_l"`
	OilChanged float64    `json:"oil_changed_l"`
	Order      string     `json:"order"`
}

// entry is nil when nothing is said but the task.
func (r ServiceRequest) entry() *drivers.ServiceEntry {
	e := drivers.ServiceEntry{
		Task: r.Task, Note: r.Comment, By: r.By, Action: r.Action, Found: r.Found, Cylinder: r.Cylinder, Side: r.Side,
		PanelHours: r.PanelH, Added: r.OilAdded, Filled: r.OilChanged, Order: r.Order,
	}
	if r.DoneAt != nil {
		e.At = *r.DoneAt
	}
	if r == (ServiceRequest{Task: r.Task, Comment: r.Comment}) {
		return nil
	}
	return &e
}

// DecodeCommand reads a command that arrived at now. Its error is what the
// sender is told. The payload is given back as far as it could be read, so
// that the answer can name the command.
func DecodeCommand(data []byte, now drivers.Instant) (CommandPayload, drivers.Command, error) {
	p, err := parseCommand(data)
	if err != nil {
		return p, drivers.Command{}, err
	}
	if err := p.checkSender(now); err != nil {
		return p, drivers.Command{}, err
	}
	c, err := p.request()
	if err != nil {
		return p, drivers.Command{}, err
	}
	c.ID, c.User = p.CommandID, p.User
	return p, c, nil
}

func parseCommand(data []byte) (CommandPayload, error) {
	var p CommandPayload
	if len(data) > mostCommandBytes {
		return p, fmt.Errorf("%d bytes; a command has at most %d", len(data), mostCommandBytes)
	}
	if !utf8.Valid(data) {
		return p, errors.New("not UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&p); err != nil {
		return p, fmt.Errorf("not a command: %s", inWords(err))
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return p, errors.New("not a command: something follows it")
	}
	return p, nil
}

// inWords says what is wrong with the JSON without the words of Go.
func inWords(err error) string {
	var wrong *json.UnmarshalTypeError
	switch {
	case !errors.As(err, &wrong):
		return strings.TrimPrefix(err.Error(), "json: ")
	case wrong.Field == "":
		return wrong.Value + " where an object belongs"
	}
	return fmt.Sprintf("%s: %s does not belong here", wrong.Field, wrong.Value)
}

// checkSender checks what every command has.
func (p CommandPayload) checkSender(now drivers.Instant) error {
	if err := checkName("command_id", p.CommandID); err != nil {
		return err
	}
	if err := checkName("user", p.User); err != nil {
		return err
	}
	switch left := p.ExpiresAt.Sub(now.Wall); {
	case p.ExpiresAt.IsZero():
		return errors.New("expires_at: missing; say until when the command may act")
	case !now.Synchronized:
		return errors.New("the agent's clock is not synchronised: it cannot tell whether the command has expired")
	case left <= 0:
		return fmt.Errorf("expired at %s", *stamp(p.ExpiresAt))
	case left > longestExpiry:
		return fmt.Errorf("expires_at: more than %v ahead", longestExpiry)
	}
	return nil
}

// request gives the one thing asked for.
func (p CommandPayload) request() (drivers.Command, error) {
	var asked []drivers.Command
	if r := p.Ack; r != nil {
		asked = append(asked, drivers.Command{Verb: drivers.Acknowledge, Alarm: r.Alarm, Comment: r.Comment})
	}
	if r := p.Shelve; r != nil {
		asked = append(asked, drivers.Command{Verb: drivers.Shelve, Alarm: r.Alarm, Comment: r.Comment, For: r.duration()})
	}
	if r := p.Unshelve; r != nil {
		asked = append(asked, drivers.Command{Verb: drivers.Unshelve, Alarm: r.Alarm, Comment: r.Comment})
	}
	if r := p.ServiceRecord; r != nil {
		asked = append(asked, drivers.Command{Verb: drivers.RecordService, Task: r.Task, Comment: r.Comment, Service: r.entry()})
	}
	if len(asked) != 1 {
		return drivers.Command{}, fmt.Errorf("asks for %d things; ask for one of ack, shelve, unshelve, service_record", len(asked))
	}
	return asked[0], checkRequest(asked[0])
}

func checkRequest(c drivers.Command) error {
	subject, name := "alarm", c.Alarm
	if c.Verb == drivers.RecordService {
		subject, name = "task", c.Task
	}
	if err := checkName(subject, name); err != nil {
		return err
	}
	if c.Verb == drivers.Shelve && strings.TrimSpace(c.Comment) == "" {
		return errors.New("comment: missing; say why the alarm is shelved, the next shift reads it")
	}
	if n := utf8.RuneCountInString(c.Comment); n > longestComment {
		return fmt.Errorf("comment: %d characters; at most %d", n, longestComment)
	}
	if c.Service != nil && c.Service.By != "" {
		if err := checkName("by", c.Service.By); err != nil {
			return err
		}
	}
	if c.Verb == drivers.Shelve && (c.For < shortestShelving || c.For > longestShelving) {
		return fmt.Errorf("duration_s: shelve for %d to %d s", int(shortestShelving.Seconds()), int(longestShelving.Seconds()))
	}
	return nil
}

// duration is negative for what does not fit, which no bound lets through.
func (r ShelveRequest) duration() time.Duration {
	switch {
	case r.DurationS == nil:
		return defaultShelving
	case *r.DurationS > int64(longestShelving.Seconds()):
		return -1
	}
	return time.Duration(max(*r.DurationS, -1)) * time.Second
}

// checkName accepts what can be written in a journal line.
func checkName(field, name string) error {
	switch n := utf8.RuneCountInString(name); {
	case strings.TrimSpace(name) == "":
		return fmt.Errorf("%s: missing", field)
	case n > longestName:
		return fmt.Errorf("%s: %d characters; at most %d", field, n, longestName)
	case strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fmt.Errorf("%s: has a character that cannot be printed", field)
	}
	return nil
}
