package page_test

import (
	"os"
	"testing"

	"pumpside/exporter/page/browser"
)

// one is the browser of all tests; it is started by the first that needs it.
var one *browser.Browser

func TestMain(m *testing.M) {
	code := m.Run()
	if one != nil {
		one.End()
	}
	os.Exit(code)
}

// openBrowser gives the browser a new tab without cookies.
func openBrowser(t testing.TB) *browser.Tab {
	t.Helper()
	if testing.Short() {
		t.Skip("opens a browser")
	}
	if one == nil {
		one = browser.Start(t)
	}
	return one.Tab(t)
}
