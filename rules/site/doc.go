// Package site judges what belongs to no single pump: whether the pumps of a
// group keep the glycol moving, whether devices and buses answer, whether the
// clock can be trusted, whether the store keeps what it is given and the broker
// takes it.
//
// [Step] is pure, like the pumps' own: a [Batch] says what happened since the
// one before, the events that come back are the site's journal. The site has
// a sequence of its own, beside those of the pumps.
package site
