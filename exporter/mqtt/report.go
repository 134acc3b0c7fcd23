package mqtt

import (
	"pumpside/rules/report"
)

// A ReportPayload is what the control room asks every day; retained.
type ReportPayload struct {
	Origin
	report.Report
}

// changesSent is how many changes a report is sent with: a flood must not make
// a message that no link carries.
const changesSent = 100

func (p *Publisher) reportPayload(r *report.Report) []byte {
	sent := ReportPayload{Origin: p.origin("report", "", r.Instant), Report: *r}
	if n := len(r.Changes); n > changesSent {
		sent.Changes, sent.Older = r.Changes[:changesSent], n-changesSent
	}
	return encode(sent)
}

// wantReport names the topic of the report, once there is one.
func (c *connection) wantReport(r *report.Report) {
	if r == nil {
		return
	}
	topic, revision := c.topics.Report(), uint64(r.At.UnixNano())
	if c.standing.wants(topic, revision) {
		c.standing.send(topic, revision, c.reportPayload(r))
	}
}
