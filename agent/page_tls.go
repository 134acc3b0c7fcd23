package main

import (
	"context"
	"crypto/tls"
	"os"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"pumpside/configs"
)

// pageTLS waits until the page's certificate can be used, and gives what to
// serve it by; nil when it is served without. It gives false when ctx ends.
func (g *gateway) pageTLS(ctx context.Context, c configs.Page) (*tls.Config, bool) {
	if c.CertificateFile == "" {
		return nil, true
	}
	pair := &renewedPair{certificate: c.CertificateFile, key: c.KeyFile, log: g.log}
	for told := false; ; told = true {
		_, err := pair.get(nil)
		if err == nil {
			return &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}, GetCertificate: pair.get}, true
		}
		if !told {
			g.log.Error().Err(err).Msg("page cannot be served; trying again")
		}
		select {
		case <-ctx.Done():
			return nil, false
		case <-time.After(5 * time.Second):
		}
	}
}

// A renewedPair is a certificate and its key as they are in their files now, so
// that renewed ones are served without a restart. While new ones cannot be used,
// for one of the two is not written yet, those before are.
type renewedPair struct {
	certificate, key string // paths
	log              zerolog.Logger

	mu   sync.Mutex // guards what follows
	read [2]fileStamp
	pair *tls.Certificate // nil: none was good yet
}

// A fileStamp changes when a file does. The zero stamp is of none.
type fileStamp struct {
	at   time.Time
	size int64
}

func stampOf(path string) fileStamp {
	info, err := os.Stat(path)
	if err != nil {
		return fileStamp{}
	}
	return fileStamp{info.ModTime(), info.Size()}
}

// get is a tls.Config's GetCertificate.
func (r *renewedPair) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	now := [2]fileStamp{stampOf(r.certificate), stampOf(r.key)}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.pair != nil && now == r.read {
		return r.pair, nil
	}
	pair, err := tls.LoadX509KeyPair(r.certificate, r.key)
	switch {
	case err == nil:
		r.pair = &pair
	case r.pair == nil:
		return nil, err
	default:
		r.log.Warn().Err(err).Msg("the page's new certificate cannot be used; the one before goes on")
	}
	r.read = now
	return r.pair, nil
}
