package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"time"
)

// dialTimeout bounds the whole way to a connection: name, TCP and TLS.
const dialTimeout = 5 * time.Second

// writeTimeout bounds every write; a link that takes nothing for so long is
// as good as cut.
const writeTimeout = 5 * time.Second

// dial connects to the broker. The certificate files are read each time, so
// that a renewed certificate needs no restart.
func (p *Publisher) dial(ctx context.Context) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	address, scheme, err := brokerAddress(p.Settings.Broker)
	if err != nil {
		return nil, err
	}
	open := p.Dial
	if open == nil {
		open = new(net.Dialer).DialContext
	}
	conn, err := open(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	if scheme == "tls" {
		if conn, err = p.Settings.secure(ctx, conn, address); err != nil {
			return nil, err
		}
	}
	return &timedConn{conn}, nil
}

// secure turns conn into an encrypted connection, or closes it.
func (s Settings) secure(ctx context.Context, conn net.Conn, address string) (net.Conn, error) {
	host, _, _ := net.SplitHostPort(address)
	config, bad := s.tlsConfig(host)
	if bad != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", bad.field, bad.cause), conn.Close())
	}
	secured := tls.Client(conn, config)
	if err := secured.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("encrypt: %w", err), conn.Close())
	}
	return secured, nil
}

// A fileProblem is a certificate file that cannot be used, by its setting.
type fileProblem struct {
	field string
	cause error
}

func (s Settings) tlsConfig(host string) (*tls.Config, *fileProblem) {
	config := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host}
	if s.ServerName != "" {
		config.ServerName = s.ServerName
	}
	if s.CAFile != "" {
		pem, err := os.ReadFile(s.CAFile)
		if err != nil {
			return nil, &fileProblem{"ca_file", err}
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, &fileProblem{"ca_file", fmt.Errorf("%s holds no PEM certificate", s.CAFile)}
		}
	}
	if s.CertificateFile == "" {
		return config, nil
	}
	pair, err := tls.LoadX509KeyPair(s.CertificateFile, s.KeyFile)
	if err != nil {
		return nil, &fileProblem{"certificate_file", err}
	}
	config.Certificates = []tls.Certificate{pair}
	return config, nil
}

// A timedConn bounds every write, and closes when one failed: the rest of a
// half-written packet must not be followed by another. (The library sets no
// deadline on its pings and acknowledgements, so a peer that stops reading
// would hang it.)
type timedConn struct{ net.Conn }

func (c *timedConn) Write(b []byte) (int, error) {
	err := c.SetWriteDeadline(time.Now().Add(writeTimeout))
	if err != nil {
		return 0, err
	}
	n, err := c.Conn.Write(b)
	if err != nil {
		_ = c.Close()
	}
	return n, err
}
