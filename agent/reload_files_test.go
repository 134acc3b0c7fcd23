package main

import (
	"crypto/tls"
	"net"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A configuration can be good in form and of no use: the agent in force must
// outlive it, for a pump is counted by nobody while it is down.
func TestReloadOfAConfigurationThatCannotStartKeepsTheOneInForce(t *testing.T) {
	t.Parallel()
	p := newPlant(t, running(1))
	path := p.configure(t, skidSite{})
	metrics := freeAddress(t)
	good := edited(t, readFile(t, path), `listen: "127.0.0.1:0"`, `listen: "`+metrics+`"`)
	writeFile(t, path, good)
	agent, _ := startAgent(t, path)
	eventually(t, "it serves", func() bool { return scrape(t, metrics).hash() != "" })
	before := scrape(t, metrics).hash()
	refused := func() bool {
		now := scrape(t, metrics)
		return now.hash() == before && now[`pumpside_alarm_active{alarm="configuration_refused",priority="medium",pump=""}`] == 1
	}
	take := func(text, say string) {
		t.Helper()
		writeFile(t, path, text)
		if err := agent.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		agent.await(t, say)
		eventually(t, "the one before is in force and the alarm is raised: "+say, refused)
	}
	take(edited(t, good, `page: {listen: "off"}`, `page: {certificate_file: /nowhere/page.crt, key_file: /nowhere/page.key}`),
		`page.certificate_file: open /nowhere/page.crt: no such file or directory.*the configuration was refused`)
	take(edited(t, good, filepath.Join(filepath.Dir(path), "pumpside.db"), "/nowhere/pumpside.db"),
		`there is no folder .*the new configuration cannot be put in force; the one before goes on`)
	writeFile(t, path, good)
	if err := agent.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	agent.await(t, `the configuration has not changed`)
	eventually(t, "the alarm clears", func() bool { return !refused() })
	if code := agent.stop(t, stopSignal); code != 0 {
		t.Errorf("exit code %d", code)
	}
}

// The page waits for a certificate that is of use, the pump is counted
// meanwhile, and a renewed one is served without a restart.
func TestTheAgentStartsWithAnUnusablePageCertificateAndServesARenewedOne(t *testing.T) {
	t.Parallel()
	p := newPlant(t, running(1))
	files, page := folder(t), freeAddress(t)
	certificate, key := filepath.Join(files, "page.crt"), filepath.Join(files, "page.key")
	path := p.configure(t, skidSite{Page: page}, `page: {listen: "`+page+`"}`, `page: {listen: "`+page+`", certificate_file: `+certificate+`, key_file: `+key+`}`)
	writeFile(t, certificate, "not yet")
	agent, metrics := startAgent(t, path)
	agent.await(t, `page.key_file: .*a file that the configuration names cannot be used; the agent works without`)
	agent.await(t, `page cannot be served; trying again`)
	eventually(t, "the pump is counted", func() bool { return scrape(t, metrics)[`pumpside_running{pump="gp-1"}`] == 1 })

	served := func() string {
		conn, err := tls.DialWithDialer(new(net.Dialer), "tcp", page, &tls.Config{InsecureSkipVerify: true})
		if err != nil {
			return ""
		}
		defer conn.Close()
		return string(conn.ConnectionState().PeerCertificates[0].Raw)
	}
	ownCertificate(t, files)
	var first string
	eventually(t, "the page is served", func() bool { first = served(); return first != "" })
	ownCertificate(t, files)
	eventually(t, "the renewed certificate is served", func() bool { now := served(); return now != "" && now != first })
	kept := served()
	writeFile(t, certificate, "half of it")
	if now := served(); now != kept {
		t.Error("while a new certificate cannot be used the one before is not served")
	}
	agent.await(t, `the page's new certificate cannot be used`)
	if strings.Contains(agent.said.String(), "agent stopped") {
		t.Error("the agent was started anew")
	}
}
