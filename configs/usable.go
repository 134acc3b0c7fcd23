package configs

import (
	"crypto/tls"
	"errors"
	"os"

	"pumpside/exporter/mqtt"
)

// named notes that a file is named at p, for Unusable to say so.
func (l *loader) named(p *place, keys ...string) {
	for _, key := range keys {
		here := l.problemAt(p.child(key), "")
		l.config.names = append(l.config.names, here)
	}
}

// Unusable reads the files of secrets that the configuration names and says
// which are of no use here: the page's certificate and key, the broker's
// password and certificates. They are no problem of [Load], for they may be on
// another machine, and an agent that cannot use them works without page or
// broker until it can.
func (c *Config) Unusable() Problems {
	var ps Problems
	add := func(key, text string) {
		for _, one := range c.names {
			if one.Key == key {
				one.Text = text
				ps = append(ps, one)
			}
		}
	}
	if c.Page.CertificateFile != "" {
		certificate, badCertificate := os.ReadFile(c.Page.CertificateFile)
		key, badKey := os.ReadFile(c.Page.KeyFile)
		_, badPair := tls.X509KeyPair(certificate, key)
		switch {
		case badCertificate != nil:
			add("page.certificate_file", badCertificate.Error())
		case badKey != nil:
			add("page.key_file", badKey.Error())
		case badPair != nil:
			add("page.certificate_file", "is no pair with key_file: "+badPair.Error())
		}
	}
	var found mqtt.Problems
	if c.MQTT != nil && errors.As(c.MQTT.Validate(), &found) {
		for _, one := range found {
			add("mqtt."+one.Field, one.Text)
		}
	}
	return ps.sorted()
}
