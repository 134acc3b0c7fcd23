// Package trend keeps what was measured for people to look back at: lowest,
// mean and highest of every signal, in buckets of a second for an hour, of a
// minute for a month, of an hour for two years.
//
// A [State] is stepped with a pump's batches. Seconds stay in memory; minutes
// and hours leave it as a [Block], one of each for all signals of the pump
// every six hours and at [State.Close], for the store to keep and give back to
// [Query]. What is lost with the power is the open block.
//
// # Values
//
// A bucket's three numbers are kept as floats of 13 significant bits, right to
// 1 in 8,000, which is finer than a transmitter is; counts and meters as floats
// of 24. Each is stored as its distance to the one before, so a quiet signal
// costs a byte a bucket and a rippling one two to five.
//
// A bad reading leaves no trace: a bucket without a good one is a gap, never a
// zero.
//
// # Time
//
// Buckets are laid out by time since boot, beginning on a full bucket of the
// wall clock. A block is dated when it closes, by the latest clock that was
// synchronised: one that began in 1970 on a machine without a real-time clock
// is right once the clock is, and a clock that steps tears no hole.
//
// # Memory
//
// The hour of seconds is the largest thing a pump has. As plain floats it
// would take 43 kB a signal, 430 MB at 500 pumps of 20 signals; in five-minute
// chunks of the encoding above it takes about 5 kB a signal, and with that many
// pumps [RecentFor] shortens it, so that all pumps together stay below 50 MB.
// The open blocks of minutes come to 1 kB a signal.
package trend
