package poll

import (
	"time"

	"pumpside/drivers/modbus"
)

// A drive that boots refuses all its registers for some seconds, others refuse
// a block for good because it bridges what they do not have. Only time tells
// the two apart: a block is cut when it was refused for three beats and three
// seconds, the parts of it at once; and what was cut is joined again after a
// minute, then less and less often, and when the device comes back after
// silence. A join that is refused costs no beat: the parts are read in the same.
const (
	refusedBeats = 3
	refusedFor   = 3 * time.Second
	cuttingFor   = 10 * time.Second // after a cut, or a few beats if these are slow
	joinFirst    = time.Minute
	joinMost     = time.Hour
	silentPolls  = 3 // in a row, of a device that is then said to come back
)

// A split says when blocks of one plan are cut and joined. Times are since the
// run began. The zero split has seen no refusal.
type split struct {
	refused map[modbus.Span]streak // blocks by what they read
	cutting time.Duration          // until when one refusal is enough
	joinAt  time.Duration          // when cuts are forgotten
	joinIn  time.Duration          // how long after the last cut that is
}

// A streak is refusals in a row.
type streak struct {
	beats int
	since time.Duration
}

// refuse notes that a block with a beat of period was refused at now, and
// reports whether it is to be cut.
func (s *split) refuse(block modbus.Span, period, now time.Duration) bool {
	if now >= s.cutting {
		n := s.refused[block]
		if n.beats == 0 {
			n.since = now
		}
		n.beats++
		if n.beats < refusedBeats || now-n.since < refusedFor {
			if s.refused == nil {
				s.refused = map[modbus.Span]streak{}
			}
			s.refused[block] = n
			return false
		}
		s.joinIn = joinFirst
	}
	s.begin(period, now)
	return true
}

// answered notes that a block was read.
func (s *split) answered(block modbus.Span) { delete(s.refused, block) }

// begin has blocks cut at the first refusal for a while.
func (s *split) begin(period, now time.Duration) {
	s.refused = nil
	s.cutting = now + max(cuttingFor, refusedBeats*period)
	s.joinAt = s.cutting + s.joinIn
}

// join notes that the cuts were forgotten at now.
func (s *split) join(period, now time.Duration) {
	s.joinIn = min(4*s.joinIn, joinMost)
	s.begin(period, now)
}

// back notes that the device has come back after silence.
func (s *split) back(now time.Duration) {
	s.joinIn = joinFirst
	s.joinAt = min(s.joinAt, now+cuttingFor)
}

// cut cuts a block that was refused, if it is time and it can be cut.
func (r *run) cut(b block) bool {
	p := &r.plans[b.plan]
	return len(b.Wanted) > 1 && p.split.refuse(b.Span, p.period, time.Since(r.began)) && p.Refused(b.Block) && r.reschedule() == nil
}

// join forgets the cuts whose time is over.
func (r *run) join() error {
	now, joined := time.Since(r.began), false
	for i := range r.plans {
		if p := &r.plans[i]; len(p.Cuts) > 0 && now >= p.split.joinAt {
			p.Cuts, joined = nil, true
			p.split.join(p.period, now)
		}
	}
	if !joined {
		return nil
	}
	return r.reschedule()
}

// heard notes how a read of a device ended.
func (r *run) heard(device int, reason modbus.Reason) {
	d := r.devices[device]
	switch reason {
	case modbus.None:
		if d.missed >= silentPolls {
			for i := range r.plans {
				if p := &r.plans[i]; p.device == device {
					p.split.back(time.Since(r.began))
				}
			}
		}
		d.missed = 0
	case modbus.Refused:
	default:
		d.missed++
	}
}
