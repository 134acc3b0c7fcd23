// Package mqtt tells a control room over MQTT 3.1.1 what happened at the
// pumps, how they stand, and takes commands from it when that is enabled.
//
// A [Publisher] keeps one connection at a time. Three kinds of message go out:
//
//   - events, from the [Outbox], oldest first, QoS 1: at least once, in order.
//     A consumer drops repeats by stream_id and seq, and sees a gap in seq when
//     something was dropped;
//   - what stands (alarm states, service), retained, QoS 1: published again on
//     every connection, so that a broker that forgot agrees with the agent, and
//     cleared when the pump or the alarm is no more;
//   - telemetry, QoS 0, on a beat, gone when nobody is connected.
//
// # Delivery
//
// The queue is the outbox, never the library's. Each connection is a new
// client without automatic reconnect and with a clean session: the library
// completes a message's token without an acknowledgement when it reconnects by
// itself. At most eight messages are on the way; an entry is delivered when the
// broker's PUBACK for it came, and after a loss everything else is sent again.
// A PUBACK means that the broker has it, in memory perhaps, not that anyone
// read it.
//
// # Who is connected
//
// The status topic is retained and says online or offline. When the connection
// breaks the broker itself publishes the will, offline; a clean stop publishes
// offline first, because a clean disconnect suppresses the will.
//
// # Payloads
//
// Payloads are JSON in UTF-8 with the keys in snake_case, the unit in the name
// where it is fixed, times in RFC 3339 UTC, and every key always there: null is
// "not known". The field schema names the JSON Schema in [Schemas].
//
// # Commands
//
// A command is only as trustworthy as the broker's access control: the user in
// it is a claim. Nothing a command can ask for moves a pump.
package mqtt
