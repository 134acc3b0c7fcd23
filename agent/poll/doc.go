// Package poll keeps the beat of one bus: it asks the devices for what their
// register maps want, when it is due, and hands the readings on, a batch for
// each pump.
//
// A device that fails is data: its readings go on as bad with the reason, and
// the beat goes on.
package poll
