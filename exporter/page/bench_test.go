package page_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"pumpside/drivers"
	"pumpside/exporter/page"
	"pumpside/rules"
)

// bigSource is a site of n pumps with as many signals as a skid has.
func bigSource(n int) *fakeSource {
	f := newSource()
	model, failing := f.view.Pumps[0], f.view.Pumps[1]
	f.view.Pumps = nil
	for i := range n {
		one := model
		if i%17 == 3 {
			one = failing
		}
		plate, snapshot := *one.Plate, *one.Snapshot
		plate.ID, plate.Tag, snapshot.Pump = fmt.Sprintf("gp-%d", i+1), fmt.Sprintf("GP-%d", i+1), fmt.Sprintf("gp-%d", i+1)
		snapshot.Signals = slices.Clone(snapshot.Signals)
		for s := drivers.DriveStatus; s < drivers.SignalCount; s++ {
			if s != drivers.DischargePressure && s != drivers.GlycolFlow && s != drivers.ControlPower {
				snapshot.Signals = append(snapshot.Signals, rules.SignalView{Signal: s, Name: s.String(), Dimension: s.Info().Dimension, Value: 12.3, Quality: drivers.Good, At: instant(0), GoodAt: instant(0)})
			}
		}
		f.view.Pumps = append(f.view.Pumps, page.Pump{Plate: &plate, Snapshot: &snapshot})
	}
	return f
}

func BenchmarkScreens(b *testing.B) {
	h := handler(b, bigSource(12))
	for _, path := range []string{"/", "/pump/gp-4", "/alarms", "/service", "/bus"} {
		b.Run(path, func(b *testing.B) {
			for b.Loop() {
				ask(h, httptest.NewRequest(http.MethodGet, path, nil))
			}
		})
	}
}

// TestTheFirstPageIsSmall bounds what a phone must fetch before it shows
// anything: the page and what it names, packed.
func TestTheFirstPageIsSmall(t *testing.T) {
	const most = 150_000
	h := handler(t, bigSource(12))
	for screen, files := range map[string][]string{
		"/":            {"page.css", "page.js", "icon.svg"},
		"/pump/gp-4":   {"page.css", "page.js", "icon.svg", "trend.js", "uPlot.iife.min.js", "uPlot.min.css"},
		"/alarms":      {"page.css", "page.js", "icon.svg"},
		"/api/v1/site": nil,
	} {
		total := 0
		paths := []string{screen}
		for _, f := range files {
			paths = append(paths, "/static/"+f)
		}
		for _, path := range paths {
			r := httptest.NewRequest(http.MethodGet, path, nil)
			r.Header.Set("Accept-Encoding", "gzip")
			w := ask(h, r)
			if w.Code != http.StatusOK || w.Header().Get("Content-Encoding") != "gzip" {
				t.Fatalf("%s: %d, %q", path, w.Code, w.Header().Get("Content-Encoding"))
			}
			total += w.Body.Len()
			z, err := gzip.NewReader(w.Body)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := io.Copy(io.Discard, z); err != nil {
				t.Errorf("%s cannot be unpacked: %v", path, err)
			}
		}
		t.Logf("%s: %d bytes packed", screen, total)
		if total > most {
			t.Errorf("%s: %d bytes packed, %d at most", screen, total, most)
		}
	}
}
