package configs

import (
	"errors"
	"strings"
	"time"

	"pumpside/exporter/mqtt"
)

// schemes are what other programs write for ours.
var schemes = map[string]string{"mqtt": "tcp", "mqtts": "tls", "ssl": "tls"}

// mqttKeys are the file's names for settings that have another one there.
var mqttKeys = map[string]string{"telemetry_every": "telemetry"}

func (l *loader) mqtt() {
	f, here := l.file.MQTT, at("mqtt")
	if f == nil || l.isSpoilt(here) {
		return
	}
	m := &MQTT{
		Settings: mqtt.Settings{
			Broker: f.Broker, ClientID: orElse(f.ClientID, "pumpside-"+l.file.Site.ID), User: f.User, PasswordFile: f.Password,
			CAFile: f.CA, CertificateFile: f.Certificate, KeyFile: f.Key, ServerName: f.ServerName,
			KeepAlive: f.KeepAlive, TelemetryEvery: f.Telemetry, Commands: f.Commands,
		},
		OutboxLimit: f.OutboxLimit,
	}
	l.config.MQTT = m
	if scheme, rest, cut := strings.Cut(f.Broker, "://"); cut && schemes[scheme] != "" {
		l.wrong(here.child("broker"), "write %s://%s: tcp is plain MQTT, tls is encrypted", schemes[scheme], rest)
		return
	}
	l.files(here, f)
	l.named(here, "password_file", "ca_file", "certificate_file", "key_file")
	l.times(here, "keep_alive", f.KeepAlive, 5*time.Second, 10*time.Minute)
	if f.Telemetry != 0 {
		l.times(here, "telemetry", f.Telemetry, time.Second, day)
	}
	bare := m.Settings // without the files, which may not be on this machine
	bare.PasswordFile, bare.CAFile, bare.CertificateFile, bare.KeyFile, bare.ServerName = "", "", "", "", ""
	var found mqtt.Problems
	if errors.As(bare.Validate(), &found) {
		for _, one := range found {
			l.wrong(here.child(orElse(mqttKeys[one.Field], one.Field)), "%s", one.Text)
		}
	}
	if f.OutboxLimit < 100 {
		l.wrong(here.child("outbox_limit"), "%d events are too few for an outage; write 100 or more", f.OutboxLimit)
	}
}

// times says what is wrong with a time in the words of the file, before the
// publisher does in its own.
func (l *loader) times(here *place, key string, d, least, most time.Duration) {
	before := l.told
	if l.between(here.child(key), d, least, most); l.told > before {
		l.unknown(here.child(key))
	}
}

// files checks what can be said of the files without reading them.
func (l *loader) files(here *place, f *mqttFile) {
	secure := strings.HasPrefix(f.Broker, "tls://")
	for _, one := range []struct{ key, value string }{
		{"ca_file", f.CA}, {"certificate_file", f.Certificate}, {"key_file", f.Key}, {"server_name", f.ServerName},
	} {
		if one.value != "" && !secure {
			l.wrong(here.child(one.key), "needs a broker that begins with tls://")
		}
	}
	if secure && (f.Certificate == "") != (f.Key == "") {
		l.wrong(here, "certificate_file and key_file go together")
	}
	if f.Password != "" && f.User == "" {
		l.wrong(here.child("password_file"), "needs a user")
	}
}
