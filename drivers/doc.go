// Package drivers is the vocabulary of the field: what a value is called
// ([Signal]), how far it can be trusted ([Quality]), when it was true
// ([Instant]), and how values travel to a pump's rules ([Batch]).
//
// A value goes one way: bus → registers → [Reading] → [Batch] → rules. A sick
// device is not an error here: its readings carry [Bad] with a [Reason].
package drivers
