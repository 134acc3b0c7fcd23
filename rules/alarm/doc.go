// Package alarm is the alarm state machine and everything an alert says.
//
// A [Definition] is fixed by the configuration: class, priority, delays,
// deadband, who responds. A [Machine] is what one alarm remembers. Stepping it
// with a [Condition] yields transitions; each becomes an [Event], the facts of
// one journal entry. The words come from the [Catalogue] when an event is
// shown or sent, so that a record replays whatever the language.
//
// The states follow the model of ISA-18.2 and IEC 62682; no compliance is
// claimed. On top of the six stand three marks: shelved (a person, limited in
// time), suppressed by design (logic) and out of service (a person, with a
// review date). Under a mark evaluation and journal go on; leaving the last
// mark re-evaluates to normal or unacknowledged, never to acknowledged.
//
// Bad input neither raises nor clears: the state is held and timers freeze.
package alarm
