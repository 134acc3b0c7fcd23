package mqtt

import "pumpside/drivers"

// A StatusPayload tells whether the agent is connected.
type StatusPayload struct {
	Origin
	State       string  `json:"state"`  // online, offline
	Reason      *string `json:"reason"` // of offline: stopped, or connection_lost when the broker says it
	At          *string `json:"at"`     // null in the will, for nobody knows when it will be
	ConnectedAt *string `json:"connected_at"`
}

// statusPayload of "connection_lost" is the will: it is written when the
// connection begins and published by the broker when it breaks.
func (c *connection) statusPayload(state, reason string) []byte {
	at := c.Now()
	if reason == "connection_lost" {
		at = drivers.Instant{}
	}
	return encode(StatusPayload{
		Origin: c.origin("status", "", at),
		State:  state, Reason: text(reason), At: moment(at), ConnectedAt: stamp(c.begun),
	})
}
