package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	web "pumpside/exporter/page"
)

// ownCertificate makes a certificate for 127.0.0.1 that nobody else has signed,
// writes it and its key into a folder and gives who trusts it.
func ownCertificate(t *testing.T, folder string) (certificate, key string, trust *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, form, form, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	certificate, key = filepath.Join(folder, "page.crt"), filepath.Join(folder, "page.key")
	writeFile(t, certificate, string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	writeFile(t, key, string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})))
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	trust = x509.NewCertPool()
	trust.AddCert(made)
	return certificate, key, trust
}

// TestThePageOverTLSOnTheNetwork runs the agent's own process with a page on
// every address of the machine.
func TestThePageOverTLSOnTheNetwork(t *testing.T) {
	t.Parallel()
	certificate, key, trust := ownCertificate(t, folder(t))
	p := newPlant(t, running(1))
	_, port, err := net.SplitHostPort(freeAddress(t))
	if err != nil {
		t.Fatal(err)
	}
	address := "127.0.0.1:" + port
	config := p.configure(t, skidSite{Page: "0.0.0.0:" + port}, `page: {listen: "0.0.0.0:`+port+`"}`,
		`page: {listen: "0.0.0.0:`+port+`", certificate_file: `+certificate+`, key_file: `+key+`}`)
	if err := web.AddUser(filepath.Join(filepath.Dir(config), "users"), "vera", web.Viewer, "seven-long-pipes"); err != nil {
		t.Fatal(err)
	}
	start(t, "pumpside", "run", "--config", config)

	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: 10 * time.Second, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trust}}}
	t.Cleanup(client.CloseIdleConnections)
	var answer *http.Response
	eventually(t, "the page answers over TLS", func() bool {
		if answer, err = client.Get("https://" + address + "/"); err != nil {
			return false
		}
		_ = answer.Body.Close()
		return true
	})
	if answer.Request.URL.Path != "/login" || answer.Header.Get("Strict-Transport-Security") == "" || answer.TLS.Version < tls.VersionTLS12 {
		t.Errorf("without a name: %v, %v, TLS %x", answer.Request.URL, answer.Header, answer.TLS.Version)
	}
	answer, err = client.PostForm("https://"+address+"/login", url.Values{"user": {"vera"}, "password": {"seven-long-pipes"}, "to": {"/"}})
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(answer.Body)
	_ = answer.Body.Close()
	if err != nil || !strings.Contains(string(text), "vera, viewer") || !strings.Contains(string(text), "GP-1") {
		t.Errorf("signed in: %d, %v: %.300s", answer.StatusCode, err, text)
	}
	set := answer.Request.Response.Cookies() // of the answer that led here
	if len(set) != 1 || set[0].Name != "__Host-pumpside_session" || !set[0].Secure || !set[0].HttpOnly || set[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("cookies: %v", set)
	}

	if _, err := http.Get("https://" + address + "/"); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("a stranger to the certificate: %v", err)
	}
	if plain, err := (&http.Client{Timeout: 10 * time.Second}).Get("http://" + address + "/"); err == nil {
		_ = plain.Body.Close()
		if plain.StatusCode != http.StatusBadRequest {
			t.Errorf("without TLS: %s", plain.Status)
		}
	}
	dialer := &tls.Dialer{Config: &tls.Config{RootCAs: trust, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11}}
	if c, err := dialer.DialContext(context.Background(), "tcp", address); err == nil {
		_ = c.Close()
		t.Error("TLS 1.1 is spoken")
	}
}
