package configs

import "testing"

func TestTheStateFileIsFoundInAHalfEditedConfiguration(t *testing.T) {
	const usual = "/var/lib/pumpside/pumpside.db"
	for _, tt := range []struct{ name, text, want string }{
		{"a good one", "store: {path: /data/p.db}\n", "/data/p.db"},
		{"other keys are wrong", "site: {colour: green}\nstore: {path: /data/p.db, save_interval: 1}\n", "/data/p.db"},
		{"a tab above", "site:\n\tid: a\nstore: {path: \"/data/p.db\", save_interval: 60 s}\n", "/data/p.db"},
		{"a tab above a block", "site:\n\tid: a\nstore:\n  # kept\n  save_interval: 60 s\n  path: /data/p.db\nlog: {}\n", "/data/p.db"},
		{"the path of something else", "buses:\n\t- rtu: {path: /dev/ttyS0}\n", usual},
		{"the path of something below", "store: {save_interval: 60 s}\n\tx:\nbuses:\n  - rtu: {path: /dev/ttyS0}\n", usual},
		{"a path left empty", "store: {path: }\n", usual},
		{"nothing", "", usual},
	} {
		if got := StorePath([]byte(tt.text)); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}
