package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"pumpside/exporter/prom"
	"pumpside/rules"
	reports "pumpside/rules/report"
)

// socketPath is where the agent with that state file listens for commands.
func socketPath(statePath string) string { return statePath + ".sock" }

// serve opens the agent's listeners and hands their work to the group.
func (g *gateway) serve(ctx context.Context, group *errgroup.Group) error {
	path := socketPath(g.config.Store.Path)
	_ = os.Remove(path) // the state file's lock is ours: what lies there is a leftover
	socket, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("socket for commands: %w", err)
	}
	if err := os.Chmod(path, 0o660); err != nil {
		return errors.Join(fmt.Errorf("socket for commands: %w", err), socket.Close())
	}
	serveHTTP(ctx, group, socket, &http.Server{Handler: g.deskHandler(), ConnContext: withPeer})
	g.servePage(ctx, group)
	if g.config.Metrics.Listen != "" {
		group.Go(func() error {
			if l := g.bind(ctx, "metrics", g.config.Metrics.Listen); l != nil {
				serveHTTP(ctx, group, l, &http.Server{Handler: prom.Handler(g.metrics, prom.Health{Ready: g.ready})})
			}
			return nil
		})
	}
	return nil
}

// bind listens at a TCP address. While it is taken it tries again: pumps are
// counted all the same. It gives nil when ctx ends.
func (g *gateway) bind(ctx context.Context, name, address string) net.Listener {
	for told := false; ; told = true {
		l, err := g.listen(address)
		if err == nil {
			g.log.Info().Str("address", l.Addr().String()).Msg(name)
			return l
		}
		if !told {
			g.log.Error().Err(err).Msg(name + " cannot be served; trying again")
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(5 * time.Second):
		}
	}
}

// listen takes a listener that was opened beforehand, or opens one.
func (g *gateway) listen(address string) (net.Listener, error) {
	if l := g.bound[address]; l != nil {
		return l, nil
	}
	return net.Listen("tcp", address)
}

// serveHTTP serves until ctx ends; requests under way get a second to end.
func serveHTTP(ctx context.Context, group *errgroup.Group, l net.Listener, s *http.Server) {
	s.ReadHeaderTimeout, s.ReadTimeout, s.WriteTimeout, s.IdleTimeout = 5*time.Second, 10*time.Second, 30*time.Second, time.Minute
	s.MaxHeaderBytes = 16 << 10
	group.Go(func() error {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	})
	group.Go(func() error {
		<-ctx.Done()
		end, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if s.Shutdown(end) != nil {
			return s.Close()
		}
		return nil
	})
}

type peerKey struct{}

// withPeer notes which operating-system user is at the other end.
func withPeer(ctx context.Context, c net.Conn) context.Context {
	raw, err := c.(*net.UnixConn).SyscallConn()
	if err != nil {
		return ctx
	}
	var peer *unix.Ucred
	_ = raw.Control(func(fd uintptr) { peer, err = unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED) })
	if err != nil || peer == nil {
		return ctx
	}
	return context.WithValue(ctx, peerKey{}, userName(peer.Uid))
}

// userName is the name of a user of this machine, or its number.
func userName(uid uint32) string {
	id := strconv.FormatUint(uint64(uid), 10)
	if u, err := user.LookupId(id); err == nil {
		return u.Username
	}
	return "uid " + id
}

// maxOrder is the largest order taken, in bytes.
const maxOrder = 64 << 10

// deskHandler is the running agent's desk over HTTP on the socket.
func (g *gateway) deskHandler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /zone", func(w http.ResponseWriter, r *http.Request) {
		zone, err := g.zone(r.Context())
		reply(w, zone.String(), err)
	})
	mux.HandleFunc("GET /alarms", func(w http.ResponseWriter, r *http.Request) {
		list, err := g.alarms(r.Context())
		reply(w, list, err)
	})
	mux.HandleFunc("POST /alert", func(w http.ResponseWriter, r *http.Request) {
		var name alarmName
		if !request(w, r, &name) {
			return
		}
		told, err := g.alert(r.Context(), name)
		reply(w, told, err)
	})
	mux.HandleFunc("GET /tasks", func(w http.ResponseWriter, r *http.Request) {
		tasks, err := g.tasks(r.Context())
		reply(w, tasks, err)
	})
	mux.HandleFunc("GET /service", func(w http.ResponseWriter, r *http.Request) {
		b, err := g.book(r.Context())
		reply(w, b, err)
	})
	mux.HandleFunc("POST /journal", func(w http.ResponseWriter, r *http.Request) {
		var q journalQuery
		if !request(w, r, &q) {
			return
		}
		lines, err := g.journal(r.Context(), q)
		reply(w, lines, err)
	})
	mux.HandleFunc("POST /report", func(w http.ResponseWriter, r *http.Request) {
		var span time.Duration
		if !request(w, r, &span) {
			return
		}
		made, err := g.report(r.Context(), span)
		reply(w, made, err)
	})
	mux.HandleFunc("POST /order", func(w http.ResponseWriter, r *http.Request) {
		var o order
		if !request(w, r, &o) {
			return
		}
		o.Command.User, _ = r.Context().Value(peerKey{}).(string)
		out, err := g.order(r.Context(), o)
		reply(w, out, err)
	})
	mux.HandleFunc("GET /captures", func(w http.ResponseWriter, r *http.Request) {
		list, err := g.captures(r.Context())
		reply(w, list, err)
	})
	mux.HandleFunc("GET /captures/{number}", g.sendCapture)
	mux.HandleFunc("GET /backup", g.sendBackup)
	return mux
}

func request(w http.ResponseWriter, r *http.Request, into any) bool {
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxOrder)).Decode(into); err != nil {
		http.Error(w, "the request is not understood: "+err.Error(), http.StatusBadRequest)
		return false
	}
	return true
}

func reply(w http.ResponseWriter, answer any, err error) {
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnprocessableEntity)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(answer) // a client that left is no concern of ours
}

// A socketDesk is the running agent as seen from another process.
type socketDesk struct {
	client http.Client
	state  string // path of the agent's state file
}

// errNoAgent means that no agent listens beside the state file.
var errNoAgent = errors.New("no agent is running")

// dial finds the agent with that state file.
func dial(ctx context.Context, statePath string) (*socketDesk, error) {
	path := socketPath(statePath)
	var d net.Dialer
	conn, err := d.DialContext(ctx, "unix", path)
	switch {
	case errors.Is(err, os.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return nil, errNoAgent
	case err != nil:
		return nil, fmt.Errorf("%s: %w", filepath.Base(path), err)
	}
	_ = conn.Close()
	return &socketDesk{http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) { return d.DialContext(ctx, "unix", path) },
	}}, statePath}, nil
}

func (s *socketDesk) zone(ctx context.Context) (*time.Location, error) {
	var name string
	if err := s.ask(ctx, http.MethodGet, "/zone", nil, &name); err != nil {
		return nil, err
	}
	return time.LoadLocation(name)
}

func (s *socketDesk) alarms(ctx context.Context) (list alarmList, err error) {
	err = s.ask(ctx, http.MethodGet, "/alarms", nil, &list)
	return list, err
}

func (s *socketDesk) alert(ctx context.Context, name alarmName) (told alert, err error) {
	err = s.ask(ctx, http.MethodPost, "/alert", name, &told)
	return told, err
}

func (s *socketDesk) tasks(ctx context.Context) (tasks map[string][]rules.TaskView, err error) {
	err = s.ask(ctx, http.MethodGet, "/tasks", nil, &tasks)
	return tasks, err
}

func (s *socketDesk) journal(ctx context.Context, q journalQuery) (lines []journalLine, err error) {
	err = s.ask(ctx, http.MethodPost, "/journal", q, &lines)
	return lines, err
}

func (s *socketDesk) report(ctx context.Context, span time.Duration) (*reports.Report, error) {
	r := new(reports.Report)
	return r, s.ask(ctx, http.MethodPost, "/report", span, r)
}

func (s *socketDesk) captures(ctx context.Context) (list []captured, err error) {
	err = s.ask(ctx, http.MethodGet, "/captures", nil, &list)
	return list, err
}

func (s *socketDesk) capture(ctx context.Context, number int64, take func(io.Reader) error) error {
	return s.talk(ctx, http.MethodGet, fmt.Sprintf("/captures/%d", number), nil, take)
}

func (s *socketDesk) order(ctx context.Context, o order) (out outcome, err error) {
	err = s.ask(ctx, http.MethodPost, "/order", o, &out)
	return out, err
}

func (s *socketDesk) ask(ctx context.Context, method, path string, question, answer any) error {
	return s.talk(ctx, method, path, question, func(body io.Reader) error { return json.NewDecoder(body).Decode(answer) })
}

// talk asks the agent and lets take read its answer.
func (s *socketDesk) talk(ctx context.Context, method, path string, question any, take func(io.Reader) error) error {
	body, err := json.Marshal(question)
	if err != nil {
		return err
	}
	r, err := http.NewRequestWithContext(ctx, method, "http://agent"+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	response, err := s.client.Do(r)
	if err != nil {
		if u, ok := errors.AsType[*url.Error](err); ok {
			err = u.Err
		}
		return fmt.Errorf("ask the agent: %w", err)
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(response.Body, maxOrder))
		return errors.New(string(text[:max(len(text)-1, 0)]))
	}
	return take(response.Body)
}
