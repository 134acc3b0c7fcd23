package trend_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules/trend"
)

func TestStoredBlocksSayWhatIsWrongWithThem(t *testing.T) {
	whole, _ := minutes(0, 1, 2, gap, 5).MarshalBinary()
	tests := []struct {
		name string
		text []byte
		want string
	}{
		{"nothing", nil, "block of history is damaged"},
		{"half", whole[:len(whole)/2], "block of history is damaged"},
		{"one byte less", whole[:len(whole)-1], "block of history is damaged"},
		{"one byte more", append(append([]byte(nil), whole...), 0), "block of history is damaged"},
		{"a later version", append([]byte{7}, whole[1:]...), "block of history has version 7, this program knows 1"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			before := *minutes(0, 9)
			b := before
			if err := b.UnmarshalBinary(tt.text); err == nil || err.Error() != tt.want {
				t.Errorf("error %v, want %s", err, tt.want)
			}
			if diff := cmp.Diff(before, b); diff != "" {
				t.Errorf("the block was changed\n%s", diff)
			}
		})
	}
}

func FuzzUnmarshalBinary(f *testing.F) {
	whole, _ := minutes(0, 1, 2, gap, 5).MarshalBinary()
	f.Add(whole)
	f.Fuzz(func(t *testing.T, text []byte) {
		var b, again trend.Block
		if b.UnmarshalBinary(text) != nil {
			return
		}
		for _, s := range b.Series {
			for place, v := range b.Buckets(s.Name) {
				if place < 0 || place >= b.Count || !(v.Min <= v.Mean && v.Mean <= v.Max) {
					t.Fatalf("%s: bucket %d of %d is %+v", s.Name, place, b.Count, v)
				}
			}
		}
		back, _ := b.MarshalBinary()
		if err := again.UnmarshalBinary(back); err != nil || !cmp.Equal(b, again) {
			t.Fatalf("%v\n%s", err, cmp.Diff(b, again))
		}
	})
}
