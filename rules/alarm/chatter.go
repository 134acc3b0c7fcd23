package alarm

import "time"

// chatterWindow is how long three raises take at most to be called chatter,
// and how long the condition must then be steady to be called settled.
const chatterWindow = time.Minute

// A chatter watches for an alarm that comes and goes. While it is Active the
// alarm is held: it clears only when its condition was gone for the window.
type chatter struct {
	Left   [2]time.Duration `json:"left,omitzero"` // what is left of the window of the last raise and the one before
	Active bool             `json:"active,omitzero"`
	Steady time.Duration    `json:"steady,omitzero"` // since the judgement last changed, while Active
}

func (c *chatter) idle() bool { return c.Left[0] == 0 && !c.Active }

// raised notes a raise and reports whether it makes the alarm chatter.
func (c *chatter) raised() bool {
	third := c.Left[1] > 0
	c.Left[1], c.Left[0] = c.Left[0], chatterWindow
	if !third || c.Active {
		return false
	}
	c.Active, c.Steady = true, 0
	return true
}

// pass lets time go by and reports whether the alarm settled.
func (c *chatter) pass(now *Moment, watched time.Duration, changed bool) bool {
	if now.Lost {
		c.Left = [2]time.Duration{}
	}
	for i := range c.Left {
		c.Left[i] = max(c.Left[i]-now.Elapsed, 0)
	}
	switch {
	case !c.Active:
		return false
	case changed:
		c.Steady = 0
		return false
	}
	if c.Steady += watched; c.Steady < chatterWindow {
		return false
	}
	*c = chatter{}
	return true
}

func (c *chatter) offDelay(off time.Duration) time.Duration {
	if c.Active {
		return max(off, chatterWindow)
	}
	return off
}
