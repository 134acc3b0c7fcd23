package page

import (
	"strings"
	"testing"
)

// The hash is of the test vectors that come with the reference implementation
// of Argon2 (version 19, t=2, m=65536, p=1, password "password", salt
// "somesalt").
const published = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"

func TestAPublishedHashOpensWithItsPasswordOnly(t *testing.T) {
	s, err := parseSecret(published)
	if err != nil {
		t.Fatal(err)
	}
	if s.String() != published {
		t.Errorf("written again it is %s", s)
	}
	if !s.opensWith("password") || s.opensWith("Password") {
		t.Error("it opens with another password, or not with its own")
	}
}

func TestTwoUsersOfOnePasswordHaveOtherHashes(t *testing.T) {
	a, b := newSecret("seven-long-pipes"), newSecret("seven-long-pipes")
	if a.String() == b.String() {
		t.Error("the salt is not random")
	}
	again, err := parseSecret(a.String())
	if err != nil || !again.opensWith("seven-long-pipes") || again.opensWith("") {
		t.Errorf("%v", err)
	}
}

func TestHashesThatAreNotTaken(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"no hash", "", "the hash is none of the form"},
		{"another kind of hash", "$2y$10$abc", "the hash is none of the form"},
		{"another version", strings.Replace(published, "v=19", "v=16", 1), "the hash is none of the form"},
		{"no numbers", strings.Replace(published, "65536", "much", 1), `"m=much,t=2,p=1" is no cost such as m=7168,t=5,p=1`},
		{"memory that a gateway has not got", strings.Replace(published, "65536", "4194304", 1), "the hash is of a cost that is not taken"},
		{"memory that is none", strings.Replace(published, "65536", "8", 1), "the hash is of a cost that is not taken"},
		{"too few passes for its memory", strings.Replace(published, "m=65536,t=2", "m=7168,t=2", 1), "the hash is of a cost that is not taken"},
		{"work without end", strings.Replace(published, "t=2", "t=4294967295", 1), "the hash is of a cost that is not taken"},
		{"a cut hash", published[:len(published)-4], "the hash is damaged"},
		{"a short salt", strings.Replace(published, "c29tZXNhbHQ", "c29t", 1), "the salt is damaged"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := parseSecret(tt.text); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error = %v, want %s", err, tt.want)
			}
		})
	}
}
