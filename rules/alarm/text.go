package alarm

import (
	"maps"
	"slices"
	"time"
)

// A Text is everything the catalogue says under one key. In the sentences,
// {token} stands for a fact of the event; a part in [brackets] is left out
// when one of its facts is missing. The tokens: {duration} {value} {limit}
// {signal} {subject} {fault} {reason} {explain} {cause} {count}, the steps of
// [steps], and the key of any evidence for its number.
type Text struct {
	Title       string   // a noun phrase that names it in a list, with no fact in it
	Headline    string   // the same as a phone shows it, with its facts
	Cause       string   // what lies behind it, the likely first
	Consequence string   // what happens when nobody acts
	Actions     []Action // what to do; hands-off actions come first
	NotKnown    string   // what the signals cannot tell
	Parts       []string // what to bring, when no kit is configured
	Respond     time.Duration
	Act         string // instead of "Act in 30 min"; {respond} stands for that time, what is in [brackets] goes first
	Circulation bool   // the headline says how pump, standby and gas stand
	Speech      Speech // of a group's call that speaks for pumps too
}

// An Action is one thing to do.
type Action struct {
	Text  string `json:"text"`
	Hands Hands  `json:"hands"`
}

// Hands says whether an action opens or touches equipment.
type Hands uint8

// Off is done from a desk or by looking; On opens or touches equipment;
// Before is the safety text that stands in front of the first On.
const (
	Off Hands = iota
	Before
	On
)

var handsWords = []string{"off", "safety", "on"}

func (h Hands) String() string { return word(handsWords, int(h)) }

// MarshalText writes the word for h.
func (h Hands) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (h *Hands) UnmarshalText(t []byte) error { return unword(h, handsWords, t, "kind of action") }

func off(text string) Action { return Action{text, Off} }
func on(text string) Action  { return Action{text, On} }

// Catalogue is the text table, by key.
var Catalogue = catalogueOf(
	circulationTexts, pumpTexts, oilTexts, driveTexts, stoppedTexts, conditionTexts,
	pressureTexts, levelTexts, motorTexts, signalTexts, serviceTexts, commsTexts, storeTexts, recordTexts, countingTexts,
)

func catalogueOf(tables ...map[string]Text) map[string]Text {
	all := map[string]Text{}
	for _, table := range tables {
		maps.Copy(all, table)
	}
	return all
}

// TextOf finds the text of a key.
func TextOf(key string) (Text, bool) {
	t, ok := Catalogue[key]
	return t, ok
}

// Keys lists the keys of the catalogue in alphabetical order.
func Keys() []string { return slices.Sorted(maps.Keys(Catalogue)) }

// Title gives the noun phrase of a key; an unknown key is shown as it is, with
// spaces.
func Title(key string) string {
	if t, ok := Catalogue[key]; ok {
		return t.Title
	}
	return spaced(key)
}
