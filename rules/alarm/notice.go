package alarm

import (
	"strings"
)

// A notice is how an event that calls nobody is told: its tag and what is said
// behind the alarm's title. Its tokens: {user} {comment} {refusal} {by} {marks}
// and those of the catalogue.
type notice struct{ tag, behind string }

var notices = map[Kind]notice{
	Cleared:            {"[CLEARED]", "[, after {duration}]"},
	Eased:              {"[EASED]", ", still there[: {value}]"},
	AcknowledgedBy:     {"[ACKNOWLEDGED]", "[, by {user}][: {comment}]"},
	ResetBy:            {"[RESET]", "[, by {user}][: {comment}]"},
	Shelved:            {"[SHELVED]", "[, for {duration}][, by {user}][: {comment}]"},
	Unshelved:          {"[NO LONGER SHELVED]", "[, by {user}][: {comment}]"},
	Suppressed:         {"[HELD BACK]", "[ while {by}]"},
	Unsuppressed:       {"[NO LONGER HELD BACK]", ""},
	RemovedFromService: {"[OUT OF SERVICE]", "[, review in {duration}][, by {user}][: {comment}]"},
	ReturnedToService:  {"[BACK IN SERVICE]", "[, by {user}][: {comment}]"},
	Chattering:         {"[COMES AND GOES]", ", held active until it is steady"},
	Settled:            {"[STEADY AGAIN]", ", no longer comes and goes"},
	Refused:            {"[REFUSED]", "[: {refusal}]"},
	Raised:             {"[NOT ANNOUNCED]", "[, {duration}][, {marks}]"},
	Worsened:           {"[NOT ANNOUNCED]", ", worse[: {value}][, {marks}]"},
	Reminded:           {"[REVIEW DUE]", ", still out of service"},
}

// notice composes the first line of an event that calls nobody.
func (f facts) notice() string {
	n := notices[f.e.Kind]
	title := Title(f.e.Text)
	switch {
	case f.e.Text == "" && f.e.Alarm == "":
		title = "service record"
	case f.e.Text == "":
		title = "alarm " + f.e.Alarm
	}
	if f.e.Subject != "" {
		title += " (" + f.subject() + ")"
	} else if strings.HasPrefix(f.e.Text, "signal_") || strings.HasPrefix(f.e.Text, "switch_") {
		title += " (" + f.signal() + ")"
	}
	line := headline{tag: n.tag, where: f.where(), what: fill(title+n.behind, f.more) + "."}
	return clip(line.String(), HeadlineMost)
}

// Whole gives the first line of an event with all of its refusal: a headline
// has room for its beginning only, and the way out stands at its end.
func (e *Event) Whole(headline string) string {
	if strings.Contains(headline, e.Refusal) {
		return headline
	}
	const enough = 12 // bytes that begin the refusal and nothing before it
	if i := strings.Index(headline, e.Refusal[:min(enough, len(e.Refusal))]); i >= 0 {
		headline = headline[:i]
	}
	return strings.TrimRight(headline, " ") + " " + e.Refusal + "."
}

// more answers the tokens of notices.
func (f facts) more(token string) (string, bool) {
	switch token {
	case "user":
		return f.e.User, f.e.User != ""
	case "comment":
		return f.e.Comment, f.e.Comment != ""
	case "refusal":
		return f.e.Refusal, f.e.Refusal != ""
	case "by":
		return f.e.SuppressedBy.While(), f.e.SuppressedBy != 0
	case "marks":
		return f.marks()
	}
	return f.token(token)
}

// logicPhrases follow "while".
var logicPhrases = map[Logic]string{
	PumpStopped:  "the pump is stopped",
	StartUp:      "pump or agent has just started",
	ColdStart:    "the start is cold",
	AfterService: "it settles after service",
	SharedSignal: "another pump works on the same line",
	PowerLost:    "control power is lost",
}

// While says l in words that follow "while"; "" for none.
func (l Logic) While() string {
	var list []string
	for i := range logicWords {
		if one := Logic(1 << i); l&one != 0 {
			list = append(list, logicPhrases[one])
		}
	}
	return strings.Join(list, " and ")
}

// marks says why an event calls nobody.
func (f facts) marks() (string, bool) {
	var list []string
	if f.e.ShelvedNow {
		list = append(list, "shelved")
	}
	if f.e.RemovedNow {
		list = append(list, "out of service")
	}
	if f.e.SuppressedBy != 0 {
		list = append(list, "held back while "+f.e.SuppressedBy.While())
	}
	return strings.Join(list, ", "), len(list) > 0
}
