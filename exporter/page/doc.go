// Package page is the page at the pump: what the agent knows, as HTML for
// people and as JSON for scripts, from one [View].
//
// Every screen is a list of parts. A part is rendered by the same template for
// the first answer and for the event stream that follows it, so that a live
// value cannot differ from a loaded one. Without JavaScript every screen can
// be read and every form be sent.
//
// # Screens
//
// Each is laid out by the questions of those who open it, from the top:
//
//   - Site: where do I go first? One sentence, then one line a pump, those that
//     need a person before those that do not.
//   - Pump: is it well, what do I do first and what before I touch it, which
//     part is it, what do the signals say and since when, what is used up, what
//     happened?
//   - Alarms: what does nobody know of yet, what is known, what was silenced, by
//     whom and until when?
//   - Service: what is due next, where, what do I bring; then the form for what
//     was done, which takes a phone four touches.
//   - Handover: what stands, what came and who did what on the last shift?
//   - Bus: for the installer: does the line work, and why is this value wrong?
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
// default user. A change needs a session, a token of that session and a
// same-origin request.
package page
