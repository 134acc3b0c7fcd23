package page

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Passwords are kept as Argon2id (RFC 9106), written as a PHC string. Of the
// costs that OWASP's Password Storage Cheat Sheet gives as equal (m=19456 t=2,
// m=12288 t=3, m=9216 t=4, m=7168 t=5, each with p=1) it is the one with the
// least memory, because a gateway has little: 7 MiB while one password is
// checked, and only one is at a time.
var usualCost = cost{memory: 7168, passes: 5, lanes: 1}

const (
	saltBytes = 16
	hashBytes = 32
	scheme    = "$argon2id$v=19$"
	oldScheme = "pbkdf2-sha256$"
)

// A cost is what a guess takes.
type cost struct {
	memory uint32 // KiB
	passes uint32
	lanes  uint8
}

// check refuses costs that are too cheap to guess at, or too dear for a
// gateway to check.
func (c cost) check() error {
	const most = 64 << 10
	work := uint64(c.memory) * uint64(c.passes)
	if c.memory < usualCost.memory || c.memory > most || c.passes < 1 || c.passes > 20 || c.lanes != 1 || work < 5*uint64(usualCost.memory) {
		return fmt.Errorf("the hash is of a cost that is not taken: want p=1, m=%d to %d and m×t of %d at least", usualCost.memory, most, 5*usualCost.memory)
	}
	return nil
}

// A secret is what is kept of a password.
type secret struct {
	cost
	salt, hash []byte
	old        string // a hash of a kind that is no longer used; it opens with nothing
}

func newSecret(password string) secret {
	s := secret{cost: usualCost, salt: make([]byte, saltBytes)}
	rand.Read(s.salt)
	s.hash = s.of(password)
	return s
}

func (s secret) of(password string) []byte {
	return argon2.IDKey([]byte(password), s.salt, s.passes, s.memory, s.lanes, hashBytes)
}

func (s secret) opensWith(password string) bool {
	return s.old == "" && subtle.ConstantTimeCompare(s.of(password), s.hash) == 1
}

func (s secret) String() string {
	if s.old != "" {
		return s.old
	}
	encode := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("%sm=%d,t=%d,p=%d$%s$%s", scheme, s.memory, s.passes, s.lanes, encode(s.salt), encode(s.hash))
}

func parseSecret(text string) (s secret, err error) {
	if strings.HasPrefix(text, oldScheme) {
		return secret{old: text}, nil
	}
	rest, ours := strings.CutPrefix(text, scheme)
	parts := strings.Split(rest, "$")
	if !ours || len(parts) != 3 {
		return s, fmt.Errorf("the hash is none of the form %sm=…,t=…,p=…$SALT$HASH", scheme)
	}
	if _, err := fmt.Sscanf(parts[0], "m=%d,t=%d,p=%d", &s.memory, &s.passes, &s.lanes); err != nil {
		return s, fmt.Errorf("%q is no cost such as m=%d,t=%d,p=1", parts[0], usualCost.memory, usualCost.passes)
	}
	if err := s.check(); err != nil {
		return s, err
	}
	s.salt, err = base64.RawStdEncoding.DecodeString(parts[1])
	if err != nil || len(s.salt) < 8 {
		return s, errors.New("the salt is damaged")
	}
	s.hash, err = base64.RawStdEncoding.DecodeString(parts[2])
	if err != nil || len(s.hash) != hashBytes {
		return s, errors.New("the hash is damaged")
	}
	return s, nil
}
