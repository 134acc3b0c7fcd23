// Package page is the page at the pump: what the agent knows, as HTML for
// people and as JSON for scripts, from one [View].
//
// Every screen is a list of parts. A part is rendered by the same template for
// the first answer and for the event stream that follows it, so that a live
// value cannot differ from a loaded one. Without JavaScript every screen can
// be read and every form be sent.
//
// Each screen is laid out by the questions of those who open it, from the top;
// DEVELOPERS.md lists them.
//
// # Changes
//
// The page changes nothing itself. A form becomes a [drivers.Command] with the
// name of the signed-in person, and the rules accept or refuse it; what came
// of it is in the journal.
//
// # Trust
//
// On a loopback address reading is free, and only requests for a loopback name
// are answered, so that no site in the same browser can read along by pointing
// its own name here. On any other address reading needs a name too. Names,
// roles and salted hashes of passwords are lines of one file; there is no
// default user. An open stream ends with its session. A change needs a session,
// a token of that session and a same-origin request.
package page
