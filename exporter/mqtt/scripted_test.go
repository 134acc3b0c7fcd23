package mqtt

import (
	"context"
	"errors"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// scripted is a broker of a few lines that can misbehave, behind net.Pipe so
// that it obeys the clock of a synctest bubble. The fields are set before use.
type scripted struct {
	refuse bool          // no connection is made
	login  byte          // return code of CONNACK
	delay  time.Duration // before each PUBACK
	mute   bool          // no PUBACK for events
	cutAt  int           // the connection is cut at that event of each connection, 0 never
	moods  *rand.Rand    // when set, each connection is refused, delayed, mute or cut by chance

	mail
	mu      sync.Mutex // guards dials and clients
	dials   []time.Time
	clients sync.WaitGroup
	bye     int // clean disconnects
}

func (s *scripted) dial(context.Context, string, string) (net.Conn, error) {
	s.mu.Lock()
	s.dials = append(s.dials, time.Now())
	s.mu.Unlock()
	now := mood{s.delay, s.mute, s.cutAt}
	if s.moods != nil {
		now = mood{time.Duration(s.moods.IntN(3000)) * time.Millisecond, s.moods.IntN(5) == 0, s.moods.IntN(40)}
	}
	if s.refuse || s.moods != nil && s.moods.IntN(5) == 0 {
		return nil, errors.New("connection refused")
	}
	ours, theirs := net.Pipe()
	s.clients.Go(func() { s.serve(ours, now) })
	return theirs, nil
}

// A mood is how the broker treats one connection.
type mood struct {
	delay time.Duration
	mute  bool
	cutAt int
}

func (s *scripted) serve(conn net.Conn, now mood) {
	acks := make(chan uint16, 100)
	var acking sync.WaitGroup
	acking.Go(func() { acknowledge(conn, acks, now.delay) })
	defer acking.Wait()
	defer close(acks)
	defer conn.Close()
	events := 0
	for {
		packet, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch m := packet.(type) {
		case *packets.ConnectPacket:
			ack := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
			ack.ReturnCode = s.login
			_ = ack.Write(conn)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = m.MessageID, m.Qoss
			_ = ack.Write(conn)
		case *packets.UnsubscribePacket:
			ack := packets.NewControlPacket(packets.Unsuback).(*packets.UnsubackPacket)
			ack.MessageID = m.MessageID
			_ = ack.Write(conn)
		case *packets.PingreqPacket:
			_ = packets.NewControlPacket(packets.Pingresp).Write(conn)
		case *packets.DisconnectPacket:
			s.mu.Lock()
			s.bye++
			s.mu.Unlock()
			return
		case *packets.PublishPacket:
			isEvent := strings.HasSuffix(m.TopicName, "/event")
			if isEvent {
				events++
			}
			if isEvent && events == now.cutAt {
				return
			}
			s.add(letter{m.TopicName, string(m.Payload), m.Retain, m.Qos})
			if m.Qos == 0 || isEvent && now.mute {
				continue
			}
			acks <- m.MessageID
		}
	}
}

// acknowledge answers one after the other, each after the delay.
func acknowledge(conn net.Conn, acks <-chan uint16, delay time.Duration) {
	for id := range acks {
		time.Sleep(delay)
		ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
		ack.MessageID = id
		_ = ack.Write(conn)
	}
}

// calls gives the moments of the dials as times since start.
func (s *scripted) calls(start time.Time) (since []time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, at := range s.dials {
		since = append(since, at.Sub(start))
	}
	return since
}
