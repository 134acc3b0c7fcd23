package mqtt

import (
	"context"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// work sends whatever there is until the connection breaks, which is the
// error, or ctx ends. A window on the way when ctx ends is finished within the
// longer life of working.
func (c *connection) work(ctx, working context.Context) error {
	beat := time.NewTicker(standingBeat)
	defer beat.Stop()
	telemetry := beatOf(c.Settings.TelemetryEvery)
	defer telemetry.Stop()
	always := make(chan struct{})
	close(always)
	for {
		more, err := c.sendWindows(working)
		if err != nil {
			return err
		}
		again := always
		if !more {
			again = nil
		}
		select {
		case <-ctx.Done():
			return nil
		case err := <-c.lost:
			return lostBecause(err)
		case <-telemetry.C:
			c.sendTelemetry(working)
		case m := <-c.results:
			c.unsent = append(c.unsent, m)
		case <-c.Outbox.Ready():
		case <-beat.C:
			c.due = true
			if err := c.endSweep(working); err != nil {
				return err
			}
		case <-again:
		}
		if ctx.Err() != nil {
			return nil
		}
	}
}

// beatOf is a ticker that never ticks for 0.
func beatOf(every time.Duration) *time.Ticker {
	if every > 0 {
		return time.NewTicker(every)
	}
	t := time.NewTicker(time.Hour)
	t.Stop()
	return t
}

// sendWindows sends one window of each kind, so that the present is not kept
// waiting behind a long past. more says that there is more to send at once.
func (c *connection) sendWindows(ctx context.Context) (more bool, err error) {
	for _, send := range []func(context.Context) (bool, error){c.sendResults, c.sendEvents, c.sendStanding} {
		full, err := send(ctx)
		if err != nil {
			return false, err
		}
		more = more || full
	}
	return more, nil
}

// sendEvents sends the oldest entries of the outbox. As long as that cannot
// mark what was delivered nothing more is sent: it would be the same again.
func (c *connection) sendEvents(ctx context.Context) (full bool, err error) {
	if !c.markDelivered(ctx) {
		return false, nil
	}
	entries, err := c.Outbox.Oldest(ctx, windowSize)
	c.complain(err)
	entries = entries[:min(len(entries), windowSize)]
	window := make([]message, len(entries))
	for i, e := range entries {
		window[i] = message{c.topics.Event(e.Pump), c.eventPayload(e), false}
	}
	n, err := c.deliver(ctx, window)
	c.unmarked = append(c.unmarked, entries[:n]...)
	c.facts.delivered(n)
	c.markDelivered(ctx)
	return len(entries) == windowSize, err
}

// markDelivered tells the outbox what the broker has. It reports whether the
// outbox knows of everything.
func (c *connection) markDelivered(ctx context.Context) bool {
	if len(c.unmarked) == 0 {
		return true
	}
	if err := c.Outbox.Delivered(ctx, c.unmarked); err != nil {
		c.complain(fmt.Errorf("mark what was delivered: %w", err))
		return false
	}
	c.unmarked = c.unmarked[:0]
	return true
}

// complain logs what is wrong with the outbox, once until it changes.
func (c *connection) complain(err error) {
	switch {
	case err == nil:
		c.trouble = ""
	case err.Error() != c.trouble:
		c.trouble = err.Error()
		c.Log.Error().Err(err).Msg("mqtt: outbox")
	}
}

// sendResults sends the answers to commands. Those not acknowledged stay for
// the next connection.
func (c *connection) sendResults(ctx context.Context) (full bool, err error) {
	n, err := c.deliver(ctx, c.unsent[:min(len(c.unsent), windowSize)])
	c.unsent = c.unsent[n:]
	return len(c.unsent) > 0, err
}

// sendStanding sends what stands differently from what the broker has.
func (c *connection) sendStanding(ctx context.Context) (full bool, err error) {
	if !c.due {
		return false, nil
	}
	window := c.changed()
	messages := make([]message, len(window))
	for i, s := range window {
		messages[i] = message{s.topic, s.payload, true}
	}
	n, err := c.deliver(ctx, messages)
	c.standing.acknowledged(window[:n])
	c.due = len(window) == windowSize
	return c.due, err
}

// sendTelemetry sends a snapshot of every pump and waits for none of them.
func (c *connection) sendTelemetry(ctx context.Context) {
	for _, p := range c.View().Pumps {
		if p == nil {
			continue
		}
		m := message{c.topics.Telemetry(p.Pump), c.telemetryPayload(p), false}
		if c.publish(ctx, m, atMostOnce).Error() != nil {
			return // work will see why
		}
	}
}

// takeCommand hands a command over and never waits.
func (c *connection) takeCommand(_ paho.Client, m paho.Message) {
	select {
	case c.inbox <- arrival{topic: m.Topic(), payload: m.Payload(), retained: m.Retained()}:
	default:
		c.facts.commandDropped()
	}
}
