package mqtt

import (
	"context"
	"errors"
	"slices"
	"time"

	"pumpside/drivers"
)

// A Commander is where commands go. Run calls it from one goroutine.
type Commander interface {
	// First notes the id of a command to a pump and reports whether it was not
	// noted before. Until then the id must be kept; after it the command has
	// expired and is refused without asking.
	First(ctx context.Context, pump, id string, until time.Time) (bool, error)
	// Do lets the pump's rules decide and returns nil when they accepted, or
	// the reason of the refusal in words for the sender. It returns when ctx
	// ends.
	Do(ctx context.Context, pump string, c drivers.Command) error
}

// An arrival is a message on a command topic, as it came.
type arrival struct {
	topic    string
	payload  []byte
	retained bool
}

// A ResultPayload answers one command.
type ResultPayload struct {
	Origin
	CommandID *string `json:"command_id"` // null when it could not be read
	User      *string `json:"user"`
	Accepted  bool    `json:"accepted"`
	Reason    *string `json:"reason"` // of the refusal, in words
	At        *string `json:"at"`
}

var (
	errRetained = errors.New("a command must not be retained: it would be given again at every connection")
	errRepeated = errors.New("a command with this command_id was given before")
	errNoPump   = errors.New("no such pump")
	errMemory   = errors.New("the agent cannot check for repeats just now")
)

// answerCommands takes commands one after the other until ctx ends. It never
// publishes itself: answers go to the connection over a channel.
func (p *Publisher) answerCommands(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case a := <-p.inbox:
			pump, ok := p.topics.commanded(a.topic)
			if !ok {
				continue // a topic nobody could have named; there is no place for an answer
			}
			select {
			case p.results <- message{p.topics.Result(pump), p.answer(ctx, pump, a), false}:
			case <-ctx.Done():
				return
			}
		}
	}
}

// answer carries out a command and gives the payload that says how it went.
func (p *Publisher) answer(ctx context.Context, pump string, a arrival) []byte {
	payload, err := p.obey(ctx, pump, a)
	now := p.Now()
	result := ResultPayload{
		Origin:    p.origin("result", pump, now),
		CommandID: text(bounded(payload.CommandID)), User: text(bounded(payload.User)),
		Accepted: err == nil, At: moment(now),
	}
	if err != nil {
		result.Reason = text(bounded(err.Error()))
		p.Log.Warn().Str("pump", pump).Str("command", bounded(payload.CommandID)).Err(err).Msg("mqtt: command refused")
	}
	return encode(result)
}

// obey carries out a command, or returns the reason not to.
func (p *Publisher) obey(ctx context.Context, pump string, a arrival) (CommandPayload, error) {
	payload, command, err := DecodeCommand(a.payload, p.Now())
	switch {
	case err != nil:
		return payload, err
	case a.retained:
		return payload, errRetained
	case !slices.Contains(p.Site.Pumps, pump):
		return payload, errNoPump
	}
	first, err := p.Commands.First(ctx, pump, payload.CommandID, payload.ExpiresAt)
	switch {
	case err != nil:
		p.Log.Error().Err(err).Msg("mqtt: memory of commands")
		return payload, errMemory
	case !first:
		return payload, errRepeated
	}
	return payload, p.Commands.Do(ctx, pump, command)
}

// bounded cuts what an answer repeats of a command that was refused for its
// length.
func bounded(s string) string {
	for i := range s {
		if i >= 4*longestName {
			return s[:i]
		}
	}
	return s
}
