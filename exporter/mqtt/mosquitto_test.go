package mqtt

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// mosquittoPath finds the broker, or skips the test: never where CI=true.
func mosquittoPath(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("mosquitto is not installed, and CI needs it")
	}
	t.Skip("mosquitto is not installed: this test needs a real broker")
	return ""
}

// mosquitto is a real broker in a process of its own that keeps its memory in
// a folder, so that it can be stopped and started.
type mosquitto struct {
	path, dir, address string
	command            *exec.Cmd
	log                bytes.Buffer
}

// newMosquitto writes a configuration and starts nothing.
func newMosquitto(t *testing.T, lines ...string) *mosquitto {
	t.Helper()
	m := &mosquitto{path: mosquittoPath(t), dir: t.TempDir(), address: freeAddress(t)}
	_, port, _ := net.SplitHostPort(m.address)
	config := append([]string{
		"listener " + port + " 127.0.0.1", "persistence true", "persistence_location " + m.dir + "/",
		"user root", "max_queued_messages 0", "set_tcp_nodelay true", "log_type error", "log_type warning",
	}, lines...)
	if err := os.WriteFile(m.config(), []byte(strings.Join(config, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.stop(t) })
	return m
}

func (m *mosquitto) config() string { return filepath.Join(m.dir, "mosquitto.conf") }

func (m *mosquitto) start(t *testing.T) {
	t.Helper()
	m.command = exec.Command(m.path, "-c", m.config())
	m.command.Stderr = &m.log
	if err := m.command.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", m.address)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	})
}

// stop ends the broker, which writes its memory down.
func (m *mosquitto) stop(t *testing.T) {
	t.Helper()
	if m.command == nil {
		return
	}
	if err := m.command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
	if err := m.command.Wait(); err != nil {
		t.Errorf("mosquitto: %v\n%s", err, &m.log)
	}
	m.command = nil
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// listen is a control room that is always there: a session the broker keeps.
func listen(t *testing.T, address string) *mail {
	t.Helper()
	m := new(mail)
	o := paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("control-room").SetCleanSession(false).
		SetConnectRetry(true).SetConnectRetryInterval(50 * time.Millisecond).SetMaxReconnectInterval(100 * time.Millisecond)
	o.SetOnConnectHandler(func(c paho.Client) { c.Subscribe(root+"#", 1, nil) })
	o.SetDefaultPublishHandler(func(_ paho.Client, l paho.Message) {
		m.add(letter{l.Topic(), string(l.Payload()), l.Retained(), l.Qos()})
	})
	client := paho.NewClient(o)
	if !client.Connect().WaitTimeout(10 * time.Second) {
		t.Fatal("the control room cannot connect")
	}
	t.Cleanup(func() { client.Disconnect(100) })
	return m
}

// fileBox is an outbox whose memory is a file, for a process that is killed.
type fileBox struct {
	all  []Entry
	mark *os.File
	done map[string]bool
}

func openFileBox(path string, n int) (*fileBox, error) {
	text, err := os.ReadFile(path)
	if err != nil && !os.IsNotExist(err) {
		return nil, err
	}
	b := &fileBox{all: entries(1, n), done: map[string]bool{}}
	for line := range strings.Lines(string(text)) {
		if key, whole := strings.CutSuffix(line, "\n"); whole {
			b.done[key] = true
		}
	}
	b.mark, err = os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	return b, err
}

func (b *fileBox) Oldest(_ context.Context, n int) ([]Entry, error) {
	left := slices.DeleteFunc(slices.Clone(b.all), func(e Entry) bool { return b.done[fileKey(e)] })
	return left[:min(n, len(left))], nil
}

func fileKey(e Entry) string { return fmt.Sprintf("%s/%d", e.Pump, e.Event.Seq) }

func (b *fileBox) Delivered(_ context.Context, done []Entry) error {
	var lines bytes.Buffer
	for _, e := range done {
		b.done[fileKey(e)] = true
		fmt.Fprintln(&lines, fileKey(e))
	}
	_, err := b.mark.Write(lines.Bytes())
	return err
}

func (b *fileBox) Ready() <-chan struct{} { return nil }

// TestMain is also the publisher that tests start as a process to kill it.
func TestMain(m *testing.M) {
	broker, path := os.Getenv("TEST_PUBLISHER_BROKER"), os.Getenv("TEST_PUBLISHER_OUTBOX")
	if broker == "" {
		os.Exit(m.Run())
	}
	n, _ := strconv.Atoi(os.Getenv("TEST_PUBLISHER_EVENTS"))
	box, err := openFileBox(path, n)
	if err == nil {
		p := publisher(box)
		p.Settings.Broker = broker
		err = p.Run(context.Background())
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// delivered counts the lines of a fileBox.
func delivered(path string) int {
	text, _ := os.ReadFile(path)
	return bytes.Count(text, []byte("\n"))
}

func TestMosquittoGetsEveryEventOfAnAgentThatIsKilledAndABrokerThatStops(t *testing.T) {
	const n, kills = 1200, 8
	broker := newMosquitto(t, "allow_anonymous true")
	broker.start(t)
	room := listen(t, broker.address)
	path := filepath.Join(t.TempDir(), "delivered")
	start := func() *exec.Cmd {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "TEST_PUBLISHER_BROKER=tcp://"+broker.address, "TEST_PUBLISHER_OUTBOX="+path, fmt.Sprintf("TEST_PUBLISHER_EVENTS=%d", n))
		c.Stderr = os.Stderr
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		return c
	}
	for round := range kills {
		c := start()
		target := n * (round + 1) / (kills + 2)
		eventually(t, "the next part is delivered", func() bool { return delivered(path) >= target })
		if round == kills/2 {
			broker.stop(t) // while events wait and the publisher runs
			time.Sleep(100 * time.Millisecond)
			broker.start(t)
		}
		if err := c.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = c.Wait()
	}
	c := start()
	eventually(t, "all came", func() bool { return room.complete(t, n) && delivered(path) >= n })
	_ = c.Process.Kill()
	_ = c.Wait()
	t.Logf("%d events, %d kill -9, one restart of the broker: %d repeats", n, kills, checkDelivery(t, room.events(t), n))
}

func TestMosquittoComesBackAndGetsWhatHappenedMeanwhile(t *testing.T) {
	broker := newMosquitto(t, "allow_anonymous true")
	broker.start(t)
	room := listen(t, broker.address)
	outbox := newBox(entries(1, 60)...)
	p := publisher(outbox)
	p.Settings.Broker = "tcp://" + broker.address
	stop := run(t, p)
	defer stop()
	eventually(t, "60 events", func() bool { return room.complete(t, 60) })
	broker.stop(t)
	outbox.put(entries(61, 150)...)
	eventually(t, "the loss is noticed", func() bool { return !p.Facts().Connected })
	broker.start(t)
	eventually(t, "90 more", func() bool { return room.complete(t, 150) && outbox.waiting() == 0 })
	stop()
	checkDelivery(t, room.events(t), 150)
	eventually(t, "offline is said", func() bool {
		said := room.on(TopicsOf("north").Status())
		return len(said) > 0 && strings.Contains(said[len(said)-1], `"reason":"stopped"`)
	})
}

// An authority signs certificates for one test.
type authority struct {
	dir    string
	cert   *x509.Certificate
	key    *ecdsa.PrivateKey
	serial int64
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{dir: t.TempDir()}
	template := &x509.Certificate{Subject: pkix.Name{CommonName: "test authority"}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	a.cert, a.key = a.sign(t, "ca", template)
	return a
}

// issue writes name.pem and name.key.
func (a *authority) issue(t *testing.T, name string) (certificate, key string) {
	t.Helper()
	a.sign(t, name, &x509.Certificate{
		Subject: pkix.Name{CommonName: name}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	})
	return a.file(name + ".pem"), a.file(name + ".key")
}

func (a *authority) file(name string) string { return filepath.Join(a.dir, name) }

func (a *authority) sign(t *testing.T, name string, template *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	a.serial++
	template.SerialNumber = big.NewInt(a.serial)
	template.NotBefore, template.NotAfter = time.Now().Add(-time.Hour), time.Now().Add(time.Hour)
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	parent, signer := a.cert, a.key
	if parent == nil {
		parent, signer = template, key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, parent, &key.PublicKey, signer)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	a.write(t, name+".pem", "CERTIFICATE", der)
	a.write(t, name+".key", "PRIVATE KEY", secret)
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return cert, key
}

func (a *authority) write(t *testing.T, name, kind string, der []byte) {
	t.Helper()
	if err := os.WriteFile(a.file(name), pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestMosquittoOverTLSWithAClientCertificate(t *testing.T) {
	a := newAuthority(t)
	serverCertificate, serverKey := a.issue(t, "server")
	broker := newMosquitto(t, "cafile "+a.file("ca.pem"), "certfile "+serverCertificate, "keyfile "+serverKey, "require_certificate true", "use_identity_as_username true")
	broker.start(t)
	certificate, key := a.issue(t, "agent")
	stranger := newAuthority(t)
	strangeCertificate, strangeKey := stranger.issue(t, "agent")

	secured := func(edit func(*Settings)) *Publisher {
		p := publisher(newBox(entries(1, 20)...))
		p.Settings.Broker, p.Settings.CAFile = "tls://"+broker.address, a.file("ca.pem")
		p.Settings.CertificateFile, p.Settings.KeyFile = certificate, key
		edit(&p.Settings)
		return p
	}
	tests := []struct {
		name string
		edit func(*Settings)
		want string // a pattern of the last error; "" delivers
	}{
		{"with its certificate the agent delivers", func(*Settings) {}, ""},
		// In TLS 1.3 the broker judges the client after the handshake: its reason
		// can be overtaken by the end of the connection.
		{"without one it is refused", func(s *Settings) { s.CertificateFile, s.KeyFile = "", "" }, "certificate required|reset by peer|broken pipe|EOF"},
		{"another authority's certificate is refused", func(s *Settings) { s.CertificateFile, s.KeyFile = strangeCertificate, strangeKey }, "unknown certificate authority|reset by peer|broken pipe|EOF"},
		{"a broker of another authority is not believed", func(s *Settings) { s.CAFile = stranger.file("ca.pem") }, "certificate signed by unknown authority"},
		{"a broker of another name is not believed", func(s *Settings) { s.ServerName = "broker.example" }, "wanted to match broker.example"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := secured(tt.edit)
			stop := run(t, p)
			defer stop()
			if tt.want == "" {
				eventually(t, "20 events", func() bool { return p.Facts().Delivered == 20 })
				return
			}
			eventually(t, "a refusal", func() bool { return p.Facts().LastError != "" })
			if got := p.Facts(); !regexp.MustCompile(tt.want).MatchString(got.LastError) || got.Connections != 0 {
				t.Errorf("last error %q, want %q in it; facts %+v", got.LastError, tt.want, got)
			}
		})
	}
}

func TestMosquittoWantsAUserAndPassword(t *testing.T) {
	passwords := filepath.Join(t.TempDir(), "passwords")
	broker := newMosquitto(t, "allow_anonymous false", "password_file "+passwords)
	tool, err := exec.LookPath("mosquitto_passwd")
	if err != nil {
		t.Skip("mosquitto_passwd is not installed beside mosquitto")
	}
	if out, err := exec.Command(tool, "-b", "-c", passwords, "agent", "open sesame").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	broker.start(t)
	for _, tt := range []struct {
		name, password, want string
	}{
		{"the right password delivers", "open sesame", ""},
		{"a wrong one is told in words", "open barley", "log in: not Authorized"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := publisher(newBox(entries(1, 3)...))
			p.Settings.Broker, p.Settings.User, p.Settings.Password = "tcp://"+broker.address, "agent", tt.password
			stop := run(t, p)
			defer stop()
			eventually(t, "an outcome", func() bool { f := p.Facts(); return f.LastError != "" || f.Delivered == 3 })
			if got := p.Facts().LastError; got != tt.want {
				t.Errorf("last error %q, want %q", got, tt.want)
			}
		})
	}
	t.Run("a password that was renewed in its file needs no restart", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "password")
		write := func(text string) {
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		write("open barley\n")
		p := publisher(newBox(entries(1, 3)...))
		p.Settings.Broker, p.Settings.User, p.Settings.PasswordFile = "tcp://"+broker.address, "agent", file
		stop := run(t, p)
		defer stop()
		eventually(t, "the old one is refused", func() bool { return p.Facts().LastError == "log in: not Authorized" })
		write("open sesame\n")
		eventually(t, "the new one delivers", func() bool { return p.Facts().Delivered == 3 })
	})
}
