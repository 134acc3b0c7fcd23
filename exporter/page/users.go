package page

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
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

// Outdated reports whether the user must be given a password again: what the
// file has of the old one is of a kind that is no longer used.
func (u User) Outdated() bool { return u.hash.old != "" }

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
	hash := newSecret(password)
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
