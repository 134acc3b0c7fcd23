package main

import (
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// An openDoor lets everybody on the demo's broker, which listens on this
// machine only, and do everything. The one that comes with the broker reads
// rules from files and brings a YAML library for it: 170 kB of program.
type openDoor struct{ broker.HookBase }

func (*openDoor) ID() string { return "open door" }

func (*openDoor) Provides(what byte) bool {
	return what == broker.OnConnectAuthenticate || what == broker.OnACLCheck
}

func (*openDoor) OnConnectAuthenticate(*broker.Client, packets.Packet) bool { return true }

func (*openDoor) OnACLCheck(*broker.Client, string, bool) bool { return true }
