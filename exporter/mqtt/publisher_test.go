package mqtt

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules"
	"pumpside/rules/alarm"
)

// pumpOne gives n entries of one pump.
func pumpOne(n int) []Entry {
	all := entries(1, n)
	for i := range all {
		all[i].Pump, all[i].Event.Seq = "gp-1", uint64(i+1)
	}
	return all
}

func TestAnAbsentBrokerIsCalledLessAndLess(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{refuse: true}
		p := publisher(newBox())
		p.Dial, p.Rand = broker.dial, rand.New(rand.NewPCG(1, 2))
		start := time.Now()
		stop := run(t, p)
		time.Sleep(5 * time.Minute)
		stop()

		var want []time.Duration
		random, at := rand.New(rand.NewPCG(1, 2)), time.Duration(0)
		for _, pause := range []time.Duration{1, 2, 4, 8, 16, 32, 60, 60, 60, 60, 60, 60} {
			if at < 5*time.Minute {
				want = append(want, at)
			}
			pause *= time.Second
			at += pause/2 + time.Duration(random.Float64()*float64(pause/2))
		}
		if d := cmp.Diff(want, broker.calls(start)); d != "" {
			t.Errorf("calls (-want +got):\n%s", d)
		}
		f := p.Facts()
		if f.Connected || f.Connections != 0 || f.LastError != "connect: connection refused" {
			t.Errorf("facts = %+v", f)
		}
	})
}

func TestABrokerThatNeverAcknowledgesIsLeftAfterTenSeconds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{mute: true}
		outbox := newBox(pumpOne(20)...)
		p := publisher(outbox)
		p.Dial = broker.dial
		start := time.Now()
		stop := run(t, p)
		time.Sleep(10500*time.Millisecond - 1)
		if calls := broker.calls(start); len(calls) != 1 {
			t.Errorf("called again at %v, before 10 s and the shortest pause", calls)
		}
		time.Sleep(time.Second)
		if calls := broker.calls(start); len(calls) != 2 {
			t.Errorf("calls after 11.5 s: %v, want two", calls)
		}
		if f := p.Facts(); f.LastError != "the broker did not acknowledge within 10s" || f.Connections != 2 || f.Delivered != 0 {
			t.Errorf("facts = %+v", f)
		}
		stop()
		broker.clients.Wait()
		if n := outbox.waiting(); n != 20 {
			t.Errorf("%d entries wait, want all 20: nothing was acknowledged", n)
		}
		if n := len(broker.on(TopicsOf("north").Event("gp-1"))); n != 2*windowSize {
			t.Errorf("%d events sent in two connections, want two windows of %d", n, windowSize)
		}
	})
}

func TestASlowBrokerGetsEverythingOnOneConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{delay: 9 * time.Second}
		outbox := newBox(pumpOne(20)...)
		p := publisher(outbox)
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(10 * time.Minute)
		stop()
		broker.clients.Wait()
		if n := checkDelivery(t, broker.events(t), 20); n != 0 || outbox.waiting() != 0 {
			t.Errorf("%d repeats, %d waiting; want none", n, outbox.waiting())
		}
		if f := p.Facts(); f.Connections != 1 || f.Delivered != 20 {
			t.Errorf("facts = %+v", f)
		}
	})
}

func TestAConnectionCutInTheMiddleOfAWindowRepeatsButLosesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{cutAt: 5}
		outbox := newBox(pumpOne(30)...)
		p := publisher(outbox)
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(10 * time.Minute)
		stop()
		broker.clients.Wait()
		checkDelivery(t, broker.events(t), 30)
		f := p.Facts()
		if outbox.waiting() != 0 || f.Delivered != 30 || f.Connections < 8 || f.LastError == "" {
			t.Errorf("%d wait, facts = %+v", outbox.waiting(), f)
		}
	})
}

// Whatever a broker does, refuse, hang, cut or dawdle, and however often the
// agent is stopped or killed meanwhile: nothing is lost and nothing overtakes.
func TestNoMoodOfABrokerLosesOrReordersAnEvent(t *testing.T) {
	repeats := 0
	for seed := range uint64(60) {
		synctest.Test(t, func(t *testing.T) {
			random := rand.New(rand.NewPCG(seed, 1))
			broker := &scripted{moods: rand.New(rand.NewPCG(seed, 2))}
			outbox := newBox()
			const n = 60
			for sent := 0; outbox.waiting() > 0 || sent < n; {
				p := publisher(outbox)
				p.Dial = broker.dial
				stop := run(t, p)
				for range 1 + random.IntN(4) {
					more := min(random.IntN(20), n-sent)
					outbox.put(entries(sent+1, sent+more)...)
					sent += more
					time.Sleep(time.Duration(random.IntN(60_000)) * time.Millisecond)
				}
				if random.IntN(2) == 0 {
					outbox = outbox.heir()
				}
				stop()
			}
			broker.clients.Wait()
			repeats += checkDelivery(t, broker.events(t), n)
		})
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
	if repeats == 0 {
		t.Error("not one repeat: the brokers were too good to prove anything")
	}
}

func TestACleanStopSaysOfflineLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox(pumpOne(3)...))
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(time.Second)
		stop()
		broker.clients.Wait()
		said := broker.on(TopicsOf("north").Status())
		if len(said) != 2 || !strings.Contains(said[0], `"state":"online"`) || !strings.Contains(said[1], `"state":"offline","reason":"stopped"`) {
			t.Errorf("status said %q", said)
		}
		letters := broker.letters()
		if last := letters[len(letters)-1]; last.topic != TopicsOf("north").Status() || !last.retained || last.qos != 1 {
			t.Errorf("last letter %+v, want the retained status at QoS 1", last)
		}
		if broker.bye != 1 || p.Facts().Connected {
			t.Errorf("%d clean disconnects, want 1; facts %+v", broker.bye, p.Facts())
		}
	})
}

func TestStoppingWaitsTwoSecondsForAMuteBroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{mute: true}
		p := publisher(newBox(pumpOne(3)...))
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(time.Second)
		start := time.Now()
		stop()
		broker.clients.Wait()
		if took := time.Since(start); took != stopTimeout {
			t.Errorf("stopping took %v, want %v", took, stopTimeout)
		}
		if broker.bye != 0 {
			t.Error("a clean disconnect suppressed the will although offline was not said")
		}
	})
}

func TestARefusedLoginIsToldInWords(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{login: 5} // MQTT 3.1.1 §3.2.2.3: not authorized
		p := publisher(newBox())
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(time.Minute)
		stop()
		broker.clients.Wait()
		if f := p.Facts(); f.LastError != "log in: not Authorized" {
			t.Errorf("last error %q", f.LastError)
		}
	})
}

func TestWhatStandsIsSentOnChangeAndAgainOnEveryConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox())
		p.Dial = broker.dial
		state, seq := alarm.Normal, uint64(1)
		p.View = func() View { return standingView(state, seq) }
		topic := TopicsOf("north").Alarm("gp-1", "glycol_flow_low")
		count := func() int { return len(broker.on(topic)) }

		stop := run(t, p)
		time.Sleep(30 * time.Second)
		if count() != 1 {
			t.Errorf("sent %d times while nothing changed, want once", count())
		}
		stop()
		state, seq = alarm.Unacknowledged, 2
		stop = run(t, p)
		time.Sleep(30 * time.Second)
		stop()
		broker.clients.Wait()
		if got := broker.on(topic); len(got) != 2 || !strings.Contains(got[1], `"state":"unacknowledged"`) {
			t.Errorf("sent %q", got)
		}
	})
}

func TestARemovedPumpIsCleared(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox())
		p.Dial = broker.dial
		view := standingView(alarm.Unacknowledged, 1)
		views := make(chan View, 1)
		p.View = func() View {
			select {
			case view = <-views:
			default:
			}
			return view
		}
		stop := run(t, p)
		time.Sleep(5 * time.Second)
		views <- View{SiteAlarms: view.SiteAlarms}
		time.Sleep(5 * time.Second)
		stop()
		broker.clients.Wait()
		topics := TopicsOf("north")
		for _, topic := range []string{topics.Alarm("gp-1", "glycol_flow_low"), topics.Service("gp-1")} {
			if got := broker.on(topic); len(got) != 2 || got[0] == "" || got[1] != "" {
				t.Errorf("%s: %q, want a payload and then an empty one", topic, got)
			}
		}
		if got := broker.on(topics.Alarm("", "clock_wrong")); len(got) != 1 {
			t.Errorf("the site's alarm was sent %d times, want once", len(got))
		}
		if got := broker.on(topics.Alarm("", "never_raised")); len(got) > 0 {
			t.Errorf("an alarm that was never raised: %q", got)
		}
	})
}

func TestAPumpWithoutASnapshotYetIsNotCleared(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox())
		p.Dial, p.Settings.TelemetryEvery = broker.dial, time.Second
		view := standingView(alarm.Unacknowledged, 1)
		begun := time.Now()
		p.View = func() View {
			if time.Since(begun) > 5*time.Second {
				return View{Pumps: []*rules.Snapshot{nil}, SiteAlarms: view.SiteAlarms}
			}
			return view
		}
		stop := run(t, p)
		time.Sleep(30 * time.Second)
		stop()
		broker.clients.Wait()
		if got := broker.on(TopicsOf("north").Alarm("gp-1", "glycol_flow_low")); len(got) != 1 || got[0] == "" {
			t.Errorf("sent %q, want one state and nothing that clears it", got)
		}
	})
}

func TestASickOutboxRepeatsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		outbox := newBox(pumpOne(3)...)
		outbox.setSick(errors.New("disk full"))
		p := publisher(outbox)
		p.Dial = broker.dial
		stop := run(t, p)
		time.Sleep(time.Minute)
		if n := len(broker.events(t)); n != 3 {
			t.Errorf("%d events in a minute with a sick outbox, want 3", n)
		}
		outbox.setSick(nil)
		time.Sleep(2 * time.Second)
		stop()
		broker.clients.Wait()
		if n := checkDelivery(t, broker.events(t), 3); n != 0 || outbox.waiting() != 0 {
			t.Errorf("%d repeats, %d waiting", n, outbox.waiting())
		}
	})
}

func TestTelemetryKeepsItsBeatAtQoS0(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox())
		p.Dial = broker.dial
		p.Settings.TelemetryEvery = 10 * time.Second
		p.View = func() View { return standingView(alarm.Normal, 1) }
		stop := run(t, p)
		time.Sleep(65 * time.Second)
		stop()
		broker.clients.Wait()
		sent := 0
		for _, l := range broker.letters() {
			if l.topic == TopicsOf("north").Telemetry("gp-1") {
				if sent++; l.qos != 0 || l.retained {
					t.Errorf("telemetry %+v, want QoS 0 and not retained", l)
				}
			}
		}
		if sent != 6 {
			t.Errorf("%d snapshots in 65 s on a beat of 10 s, want 6", sent)
		}
	})
}

func TestRunRefusesSettingsThatCannotWork(t *testing.T) {
	p := publisher(newBox())
	p.Settings.KeepAlive = 0
	const want = "mqtt: keep_alive: 0s; use 5s to 10m0s"
	if err := p.Run(context.Background()); err == nil || err.Error() != want {
		t.Errorf("Run = %v, want %s", err, want)
	}
}
