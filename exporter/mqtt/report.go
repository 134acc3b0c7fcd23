package mqtt

import (
	"pumpside/rules/report"
)

// A ReportPayload is what the control room asks every day; retained.
type ReportPayload struct {
	Origin
	report.Report
}

func (p *Publisher) reportPayload(r *report.Report) []byte {
	return encode(ReportPayload{Origin: p.origin("report", "", r.Instant), Report: *r})
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
