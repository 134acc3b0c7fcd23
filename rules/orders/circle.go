package orders

import "math"

// slices is how many points of the circle are kept.
const slices = 128

// circle has the sine and the cosine of each slice's angle.
var circle = func() (list [slices][2]float64) {
	for i := range list {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / slices)
		list[i] = [2]float64{sin, cos}
	}
	return list
}()

// sincos is [math.Sincos] for angles of less than 100,000 radians, to
// 10⁻¹⁵ and in half the time: it is wanted for every sample many times. It
// turns the nearest point of the circle before theta on by what is left, for
// which few terms of the series suffice.
func sincos(theta float64) (sin, cos float64) {
	const (
		whole = 0x1.921fb544p-5 // the slice's angle, rounded so that its multiples are exact
		part  = 2*math.Pi/slices - whole
	)
	n := int(theta * (slices / (2 * math.Pi)))
	x := (theta - float64(n)*whole) - float64(n)*part
	xx := x * x
	s := x * (1 - xx*(1.0/6-xx*(1.0/120-xx*(1.0/5040))))
	c := 1 - xx*(1.0/2-xx*(1.0/24-xx*(1.0/720-xx*(1.0/40320))))
	near := &circle[n&(slices-1)]
	return near[0]*c + near[1]*s, near[1]*c - near[0]*s
}

// A ladder says how cos kθ and sin kθ of a list of ascending orders follow from
// those of lower orders: of the two places in the list that sum to an order, as
// near to its half as there are. It has few rungs one above the other, so that
// a processor can work on several at a time.
type ladder [Highest]struct {
	a, b int
	sums bool // false: no two do
}

func (l *ladder) set(orders []int) {
	for i, k := range orders {
		l[i].sums = false
		for a, b := 0, i-1; a <= b; {
			switch sum := orders[a] + orders[b]; {
			case sum < k:
				a++
			case sum > k:
				b--
			default:
				l[i].a, l[i].b, l[i].sums = a, b, true
				a++
			}
		}
	}
}

// harmonics fills row with cos kθ, sin kθ for each of the orders of a ladder.
func harmonics(row []float64, orders []int, l *ladder, theta float64) {
	row = row[:2*len(orders)]
	sin, cos := sincos(theta)
	for i, k := range orders {
		c, s := cos, sin
		if from := &l[i]; from.sums {
			a, b := row[2*from.a:2*from.a+2], row[2*from.b:2*from.b+2]
			c, s = a[0]*b[0]-a[1]*b[1], a[0]*b[1]+a[1]*b[0]
		} else if k != 1 {
			s, c = sincos(float64(k) * theta)
		}
		row[2*i], row[2*i+1] = c, s
	}
}
