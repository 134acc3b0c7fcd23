package page

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// A Role says what a person may do.
type Role uint8

// The roles: a viewer reads; an operator acknowledges, resets and shelves; a
// technician also records services and takes alarms out of service. The zero
// Role is nobody.
const (
	Nobody Role = iota
	Viewer
	Operator
	Technician
)

var roleWords = [...]string{"nobody", "viewer", "operator", "technician"}

func (r Role) String() string { return roleWords[min(int(r), len(roleWords)-1)] }

// RoleNamed finds a role that a user may have.
func RoleNamed(name string) (Role, bool) {
	i := slices.Index(roleWords[:], name)
	return Role(max(i, 0)), i > 0
}

// Passwords are kept as PBKDF2 with HMAC-SHA-256 (RFC 8018). 600,000 rounds
// is what OWASP's Password Storage Cheat Sheet asks for (value from memory).
const (
	rounds     = 600_000
	leastRound = 100_000
	mostRounds = 10_000_000
	saltBytes  = 16
	hashBytes  = 32
	scheme     = "pbkdf2-sha256"
)

// PasswordLeast and PasswordMost are the shortest and the longest password, in
// bytes.
const (
	PasswordLeast = 10
	PasswordMost  = 128
)

// A User is one line of the users file.
type User struct {
	Name string
	Role Role
	hash secret
}

// A secret is what is kept of a password.
type secret struct {
	rounds     int
	salt, hash []byte
}

func newSecret(password string, rounds int) (secret, error) {
	s := secret{rounds: rounds, salt: make([]byte, saltBytes)}
	rand.Read(s.salt)
	var err error
	s.hash, err = pbkdf2.Key(sha256.New, password, s.salt, rounds, hashBytes)
	return s, err
}

func (s secret) opensWith(password string) bool {
	hash, err := pbkdf2.Key(sha256.New, password, s.salt, s.rounds, len(s.hash))
	return err == nil && subtle.ConstantTimeCompare(hash, s.hash) == 1
}

func (s secret) String() string {
	encode := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("%s$%d$%s$%s", scheme, s.rounds, encode(s.salt), encode(s.hash))
}

func parseSecret(text string) (s secret, err error) {
	parts := strings.Split(text, "$")
	if len(parts) != 4 || parts[0] != scheme {
		return s, fmt.Errorf("the hash does not begin with %s$", scheme)
	}
	s.rounds, err = strconv.Atoi(parts[1])
	if err != nil || s.rounds < leastRound || s.rounds > mostRounds {
		return s, fmt.Errorf("%q is no number of rounds from %d to %d", parts[1], leastRound, mostRounds)
	}
	s.salt, err = base64.RawStdEncoding.DecodeString(parts[2])
	if err != nil || len(s.salt) < saltBytes {
		return s, errors.New("the salt is damaged")
	}
	s.hash, err = base64.RawStdEncoding.DecodeString(parts[3])
	if err != nil || len(s.hash) != hashBytes {
		return s, errors.New("the hash is damaged")
	}
	return s, nil
}

// ReadUsers reads a users file: NAME:ROLE:HASH a line, # begins a comment. A
// file that is not there has no users.
func ReadUsers(path string) ([]User, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return parseUsers(path, string(text))
}

func parseUsers(path, text string) (users []User, err error) {
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		u, err := parseUser(line)
		if err == nil && indexUser(users, u.Name) >= 0 {
			err = fmt.Errorf("%q is there twice", u.Name)
		}
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, i+1, err)
		}
		users = append(users, u)
	}
	return users, nil
}

func parseUser(line string) (u User, err error) {
	parts := strings.SplitN(line, ":", 3)
	if len(parts) != 3 {
		return u, errors.New("want NAME:ROLE:HASH")
	}
	role, known := RoleNamed(parts[1])
	switch {
	case !userName(parts[0]):
		return u, fmt.Errorf("%q is no user name: letters, digits, . - _ only, 32 at most", parts[0])
	case !known:
		return u, fmt.Errorf("%q is no role; use viewer, operator or technician", parts[1])
	}
	s, err := parseSecret(parts[2])
	return User{parts[0], role, s}, err
}

func userName(name string) bool {
	for _, r := range name {
		if (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && !strings.ContainsRune(".-_", r) {
			return false
		}
	}
	return name != "" && len(name) <= 32
}

func indexUser(users []User, name string) int {
	return slices.IndexFunc(users, func(u User) bool { return strings.EqualFold(u.Name, name) })
}

// AddUser adds a user to the file, or gives one that is there a new role and
// password. The file is made when it is missing, readable by its owner only.
func AddUser(path, name string, role Role, password string) error {
	switch {
	case !userName(name):
		return fmt.Errorf("%q is no user name: letters, digits, . - _ only, 32 at most", name)
	case role == Nobody || role > Technician:
		return errors.New("a user needs a role: viewer, operator or technician")
	case len(password) < PasswordLeast || len(password) > PasswordMost:
		return fmt.Errorf("a password has %d to %d characters", PasswordLeast, PasswordMost)
	case strings.EqualFold(password, name):
		return errors.New("the password must not be the name")
	}
	users, err := ReadUsers(path)
	if err != nil {
		return err
	}
	hash, err := newSecret(password, rounds)
	if err != nil {
		return err
	}
	if i := indexUser(users, name); i >= 0 {
		users[i] = User{users[i].Name, role, hash}
	} else {
		users = append(users, User{name, role, hash})
	}
	return writeUsers(path, users)
}

// RemoveUser takes a user out of the file.
func RemoveUser(path, name string) error {
	users, err := ReadUsers(path)
	if err != nil {
		return err
	}
	i := indexUser(users, name)
	if i < 0 {
		return fmt.Errorf("there is no user %q", name)
	}
	return writeUsers(path, slices.Delete(users, i, i+1))
}

// writeUsers replaces the file in one step.
func writeUsers(path string, users []User) error {
	var b strings.Builder
	b.WriteString("# Who may change things on the page. Written by pumpside user.\n")
	for _, u := range users {
		fmt.Fprintf(&b, "%s:%v:%v\n", u.Name, u.Role, u.hash)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".users-*") // readable by its owner only
	if err != nil {
		return err
	}
	_, err = f.WriteString(b.String())
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// A roll is the users file as last read.
type roll struct {
	path string

	mu      sync.Mutex // guards what follows
	users   []User
	changed time.Time
	size    int64
}

// look gives the users of the file, which is read again when it has changed.
// A file that cannot be read lets nobody in.
func (r *roll) look() ([]User, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	info, err := os.Stat(r.path)
	switch {
	case r.path == "" || errors.Is(err, fs.ErrNotExist):
		r.users, r.changed, r.size = nil, time.Time{}, 0
		return nil, nil
	case err != nil:
		return nil, err
	case info.ModTime().Equal(r.changed) && info.Size() == r.size:
		return r.users, nil
	}
	users, err := ReadUsers(r.path)
	if err != nil {
		return nil, err
	}
	r.users, r.changed, r.size = users, info.ModTime(), info.Size()
	return users, nil
}

// find gives the user of that name.
func (r *roll) find(name string) (User, bool, error) {
	users, err := r.look()
	if i := indexUser(users, name); i >= 0 {
		return users[i], true, err
	}
	return User{}, false, err
}
