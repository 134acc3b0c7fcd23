package alarm

import (
	"strings"
)

// A notice is how an event that calls nobody is told: its tag and what is said
// behind the alarm's title. Its tokens: {duration} {user} {comment} {by}
// {refusal} and those of the catalogue.
type notice struct{ tag, behind string }

var notices = map[Kind]notice{
	Cleared:            {"[CLEARED]", "[, after {duration}]"},
	Eased:              {"[EASED]", ", first limit still passed[: {value}]"},
	AcknowledgedBy:     {"[ACKNOWLEDGED]", "[, by {user}][: {comment}]"},
	ResetBy:            {"[RESET]", "[, by {user}][: {comment}]"},
	Shelved:            {"[SHELVED]", "[, for {duration}][, by {user}][: {comment}]"},
	Unshelved:          {"[NO LONGER SHELVED]", "[, by {user}][: {comment}]"},
	Suppressed:         {"[HELD BACK]", "[ while {by}]"},
	Unsuppressed:       {"[NO LONGER HELD BACK]", ""},
	RemovedFromService: {"[OUT OF SERVICE]", "[, review in {duration}][, by {user}][: {comment}]"},
	ReturnedToService:  {"[BACK IN SERVICE]", "[, by {user}][: {comment}]"},
	Chattering:         {"[COMES AND GOES]", ", held active until it is steady"},
	Settled:            {"[STEADY AGAIN]", ""},
	Refused:            {"[REFUSED]", "[: {refusal}]"},
	Raised:             {"[NOT ANNOUNCED]", "[, {duration}][, held back while {by}]"},
	Worsened:           {"[NOT ANNOUNCED]", ", worse[: {value}][, held back while {by}]"},
	Reminded:           {"[REVIEW DUE]", ", still out of service"},
}

// notice composes the first line of an event that calls nobody.
func (f facts) notice() string {
	n := notices[f.e.Kind]
	title := Title(f.e.Text)
	if f.e.Text == "" {
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
		return strings.Join(spacedAll(f.e.SuppressedBy.Words()), " and "), f.e.SuppressedBy != 0
	}
	return f.token(token)
}

func spacedAll(names []string) []string {
	for i, n := range names {
		names[i] = spaced(n)
	}
	return names
}
