package configs

import (
	"net"
	"path/filepath"
)

func (l *loader) page() {
	f, here := &l.file.Page, at("page")
	if f.Listen == "off" {
		return
	}
	before := len(l.problems)
	l.hostPort(here.child("listen"), f.Listen, "127.0.0.1:8793, or off")
	host, _, _ := net.SplitHostPort(f.Listen)
	p := Page{
		Listen: f.Listen, Loopback: loopback(host), CertificateFile: f.Certificate, KeyFile: f.Key,
		UsersFile: orElse(f.Users, filepath.Join(filepath.Dir(l.file.Store.Path), "users")),
	}
	if (f.Certificate == "") != (f.Key == "") {
		l.wrong(here, "certificate_file and key_file go together")
	}
	if !p.Loopback && len(l.problems) == before {
		l.note(here.child("listen"), "other machines can reach the page at %s, so that everybody must sign in; add users with pumpside user add", f.Listen)
		if f.Certificate == "" {
			l.note(here.child("listen"), "passwords cross the network in the clear; give certificate_file and key_file for TLS")
		}
	}
	l.config.Page = p
	l.named(here, "certificate_file", "key_file")
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
