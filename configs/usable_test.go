package configs

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A file that cannot be used stops no agent that boots, and is told with its
// place to who asks.
func TestFilesThatCannotBeUsedAreToldWithTheirPlace(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "some.pem"), []byte("no PEM"), 0o600); err != nil {
		t.Fatal(err)
	}
	at := func(text string) string { return strings.ReplaceAll(text, "DIR", folder) }
	for _, tt := range []struct{ name, page, mqtt, want string }{
		{"none is named", "", "", ""},
		{
			"the page's certificate is not there", "page: {certificate_file: DIR/none.crt, key_file: DIR/some.pem}", "",
			"good.yaml:48:8: page.certificate_file: open DIR/none.crt: no such file or directory",
		},
		{
			"the page's key is not there", "page: {certificate_file: DIR/some.pem, key_file: DIR/none.key}", "",
			"good.yaml:48:COL: page.key_file: open DIR/none.key: no such file or directory",
		},
		{
			"they are no pair", "page: {certificate_file: DIR/some.pem, key_file: DIR/some.pem}", "",
			"good.yaml:48:8: page.certificate_file: is no pair with key_file: tls: failed to find any PEM data in certificate input",
		},
		{
			"the broker's password is not there", "", ", user: agent, password_file: DIR/none",
			"good.yaml:47:58: mqtt.password_file: open DIR/none: no such file or directory",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			text := strings.Replace(string(good), `"tcp://broker.example:1883"`, `"tcp://broker.example:1883"`+at(tt.mqtt), 1) + at(tt.page) + "\n"
			c, err := Load("good.yaml", []byte(text))
			if err != nil {
				t.Fatal(err)
			}
			got := c.Unusable().Error()
			if tt.name == "the page's key is not there" {
				got = strings.Replace(got, ":48:"+columnIn(got)+":", ":48:COL:", 1) // as long as the folder's name
			}
			if d := cmp.Diff(at(tt.want), got); d != "" {
				t.Errorf("unusable (-want +got):\n%s", d)
			}
		})
	}
}

func columnIn(problem string) string {
	parts := strings.SplitN(problem, ":", 4)
	if len(parts) < 3 {
		return ""
	}
	return parts[2]
}
