package simulator

// Noise is a function of a seed, a stream and a sample's number, not of how
// often somebody looks: the same instant always shows the same value.

// mix is the finalizer of SplitMix64 (Steele, Lea and Flood, 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func hash(seed, stream uint64, sample int64) uint64 {
	return mix(mix(seed^stream<<32) + uint64(sample))
}

// uniform is in [0, 1).
func uniform(seed, stream uint64, sample int64) float64 {
	return float64(hash(seed, stream, sample)>>11) / (1 << 53)
}

// gauss has mean 0 and deviation 1: the sum of four uniform 16-bit numbers,
// which never leaves ±3.47 and costs one hash.
func gauss(seed, stream uint64, sample int64) float64 {
	h := hash(seed, stream, sample)
	sum := int(h&0xffff) + int(h>>16&0xffff) + int(h>>32&0xffff) + int(h>>48)
	const (
		mean = 2 * 65535
		sd   = 37837.2 // √(4·(65536² − 1)/12)
	)
	return float64(sum-mean) / sd
}

// The streams of noise, one for each thing that varies.
const (
	streamWander uint64 = iota + 1
	streamPressure
	streamDisplacement
	streamDeadVolume
	streamOpening
	streamDebris
	streamFoam
	streamCavity
	streamSensor // one more for each signal
)
