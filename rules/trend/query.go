package trend

import (
	"cmp"
	"slices"
	"time"
)

// A Point is a stretch of history drawn as one: the lowest and highest in it,
// and the mean of its buckets.
type Point struct {
	At   time.Time     `json:"at"` // where it begins
	Span time.Duration `json:"span"`
	Min  float64       `json:"min"`
	Mean float64       `json:"mean"`
	Max  float64       `json:"max"`
}

// Query gives the history of the named signal from from until before to, in n
// points at most, oldest first. Where there are no more than n buckets each is
// a point; otherwise the time is cut into n equal parts, each the point of the
// buckets that begin in it. A part in which nothing was measured is left out:
// draw no line across it. Blocks may overlap, and come in any order.
func Query(blocks []*Block, name string, from, to time.Time, n int) []Point {
	if n <= 0 || !to.After(from) {
		return nil
	}
	points := bucketsBetween(blocks, name, from, to)
	if len(points) <= n {
		return points
	}
	width := (to.Sub(from) + time.Duration(n) - 1) / time.Duration(n)
	return gather(points, from, width)
}

// bucketsBetween lists the buckets that begin in the time, oldest first; those
// that begin at the same instant, as one.
func bucketsBetween(blocks []*Block, name string, from, to time.Time) []Point {
	var points []Point
	for _, b := range blocks {
		if !b.Start.Wall.Before(to) || !b.Stop().After(from) {
			continue
		}
		for place, v := range b.Buckets(name) {
			at := b.Start.Wall.Add(time.Duration(place) * time.Duration(b.Resolution))
			if !at.Before(from) && at.Before(to) {
				points = append(points, Point{at, time.Duration(b.Resolution), v.Min, v.Mean, v.Max})
			}
		}
	}
	slices.SortStableFunc(points, func(a, b Point) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Span, b.Span)) })
	return gather(points, from, 0)
}

// gather makes one point of those that lie in the same part of that width
// after from; with a width of 0, of those at the same instant.
func gather(points []Point, from time.Time, width time.Duration) []Point {
	var list []Point
	buckets := 0.0
	for _, p := range points {
		if width > 0 {
			p.At, p.Span = from.Add(p.At.Sub(from)/width*width), width
		}
		if len(list) == 0 || !list[len(list)-1].At.Equal(p.At) {
			list, buckets = append(list, p), 1
			continue
		}
		last := &list[len(list)-1]
		buckets++
		last.Min, last.Max = min(last.Min, p.Min), max(last.Max, p.Max)
		last.Mean += (p.Mean - last.Mean) / buckets
		last.Mean = max(last.Min, min(last.Mean, last.Max)) // rounding may push it out
		last.Span = max(last.Span, p.Span)
	}
	return list
}
