// Package orders finds the lines a pump's shaft writes into a signal that is
// polled slowly, at uneven times, while the shaft speed wanders.
//
// # Model
//
// An order k is k cycles per revolution. A signal is regressed on
//
//	y(t) = c + d·t + Re Σ A_k·exp(i·k·θ(t)),  k = 1 … 12,
//
// with the shaft angle θ. A_k is a complex amplitude in the unit of y: its
// magnitude is the peak of the line and its phase φ that of |A|·cos(kθ + φ).
// Samples need no even spacing; unevenness even helps, because it tells a line
// from its aliases (see [AliasPower]). The method is the least-squares
// spectral analysis of Lomb (1976), with a floating mean (Zechmeister and
// Kürster 2009) and all orders fitted together.
//
// # Angle
//
// θ is a polynomial in t within a window. It starts from the stated speed and
// is refined on the pump's own ripple, whose orders are multiples of the
// number of cylinders: first its slope by search, then as many terms as the
// data pay for. Speed that wanders inside the window then no longer spreads
// the strong third order over the weak first one. An index adds the constant
// the ripple cannot know.
//
// # What is reported
//
// Orders whose columns the sampling cannot tell apart are left out, never
// guessed: an order is reported only when the others inflate its variance by
// no more than [MostInflation]. Standard errors come from the residuals of
// the window, weighed by what an uncertain time stamp costs where the signal
// is steep.
//
// A [Window] collects, a [Fitter] fits, a [Result] holds what was found, a
// [Track] brings results of successive windows to one angle, a [Mean]
// averages them. None of them allocates once made; none may be used by two
// goroutines at a time.
package orders
