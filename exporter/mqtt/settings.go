package mqtt

import (
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"
)

// Settings say where the broker is and how to log in to it.
type Settings struct {
	Broker   string // "tcp://host:1883", or "tls://host:8883" for an encrypted connection; the port may be left out
	ClientID string // one per agent: the broker drops the older of two connections with the same one
	User     string // "" logs in without a name
	Password string // needs User

	PasswordFile string // its first line is the password, read at each connection so that a new one needs no restart; "" takes Password

	CAFile          string // PEM; "" trusts the certificates of the operating system
	CertificateFile string // PEM client certificate with its chain; needs KeyFile
	KeyFile         string // PEM private key of CertificateFile
	ServerName      string // the name the broker's certificate must carry; "" takes the host of Broker

	KeepAlive      time.Duration // silence after which the connection is tested, 5 s to 10 min; 15 to 30 s suits a cellular link
	TelemetryEvery time.Duration // beat of the telemetry, 1 s or more; 0 sends none
	Commands       bool          // whether commands are taken from the broker
}

// A Problem is one thing wrong with the settings.
type Problem struct {
	Field string // the configuration's key, such as "keep_alive"
	Text  string // what is wrong and what would be right
}

// Error gives "field: text".
func (p Problem) Error() string { return p.Field + ": " + p.Text }

// Problems are all the things wrong, in the order of the fields.
type Problems []Problem

// Error gives one line per Problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

const (
	shortestKeepAlive = 5 * time.Second
	longestKeepAlive  = 10 * time.Minute
	shortestTelemetry = time.Second
	longestClientID   = 128 // bytes; MQTT 3.1.1 §3.1.3.1 lets a broker refuse more than 23
)

// Validate returns [Problems], or nil. It reads the password and the certificate
// files, so that a bad one is found when the configuration is checked and not at night.
func (s Settings) Validate() error {
	var ps Problems
	add := func(field, format string, args ...any) {
		ps = append(ps, Problem{field, fmt.Sprintf(format, args...)})
	}
	secure := false
	if _, scheme, err := brokerAddress(s.Broker); err != nil {
		add("broker", "%v", err)
	} else {
		secure = scheme == "tls"
	}
	switch {
	case s.ClientID == "":
		add("client_id", "missing; give each agent one of its own")
	case len(s.ClientID) > longestClientID:
		add("client_id", "%d bytes; at most %d", len(s.ClientID), longestClientID)
	}
	if s.Password != "" && s.User == "" {
		add("password", "needs a user")
	}
	if _, err := s.password(); err != nil {
		add("password_file", "%v", err)
	}
	s.validateTLS(secure, add)
	if s.KeepAlive < shortestKeepAlive || s.KeepAlive > longestKeepAlive {
		add("keep_alive", "%v; use %v to %v", s.KeepAlive, shortestKeepAlive, longestKeepAlive)
	}
	if s.TelemetryEvery != 0 && s.TelemetryEvery < shortestTelemetry {
		add("telemetry_every", "%v is too fast; use %v or more, or 0 for none", s.TelemetryEvery, shortestTelemetry)
	}
	if len(ps) == 0 {
		return nil
	}
	return ps
}

func (s Settings) validateTLS(secure bool, add func(field, format string, args ...any)) {
	if !secure {
		for _, f := range []struct{ field, value string }{
			{"ca_file", s.CAFile}, {"certificate_file", s.CertificateFile}, {"key_file", s.KeyFile}, {"server_name", s.ServerName},
		} {
			if f.value != "" {
				add(f.field, "needs a broker that begins with tls://")
			}
		}
		return
	}
	if (s.CertificateFile == "") != (s.KeyFile == "") {
		add("certificate_file", "certificate_file and key_file go together")
		return
	}
	if _, err := s.tlsConfig(""); err != nil {
		add(err.field, "%v", err.cause)
	}
}

// password is what to log in with now.
func (s Settings) password() (string, error) {
	if s.PasswordFile == "" {
		return s.Password, nil
	}
	return PasswordIn(s.PasswordFile)
}

// PasswordIn gives the first line of a file.
func PasswordIn(path string) (string, error) {
	text, err := os.ReadFile(path)
	line, _, _ := strings.Cut(string(text), "\n")
	return strings.TrimSuffix(line, "\r"), err
}

// brokerAddress parts "tls://host" into "host:8883" and "tls".
func brokerAddress(broker string) (address, scheme string, err error) {
	u, err := url.Parse(broker)
	if err != nil || u.Host == "" || (u.Scheme != "tcp" && u.Scheme != "tls") {
		return "", "", fmt.Errorf("%q is no broker; write tcp://host:1883 or tls://host:8883", broker)
	}
	if u.User != nil || (u.Path != "" && u.Path != "/") || u.RawQuery != "" || u.Fragment != "" {
		return "", "", fmt.Errorf("%q has more than host and port; user and password have keys of their own", u.Redacted())
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"tcp": "1883", "tls": "8883"}[u.Scheme] // as registered with IANA
	}
	return net.JoinHostPort(u.Hostname(), port), u.Scheme, nil
}
