package drift

// Settings are the thresholds and noise sizes that like points share. The zero
// value is of no use: start from Default. All are in dB, days and degrees
// Celsius unless said.
type Settings struct {
	// Poll scale.
	Clip       float32 // farthest that one reading may lie from the last hour's value and count; more lets garbage in, less follows slower
	BurstDepth float32 // a reading this far below the last hour's value may belong to a burst; never under BurstNoise times the point's own noise
	BurstNoise float32
	BurstLimit float32 // bursts, less half a one per day, that make an alarm; more is later and safer

	// Hour scale: CUSUM of the difference from yesterday's level, clipped at 1.
	StepSlack float32 // differences below it do not add up: weather must stay under it or end soon
	StepLimit float32 // the sum that makes an alarm; dB times hours

	// Day scale.
	// An alarm is where (slope/its error/SlopeZ)^3 + (loss/Level)^3 reaches 1:
	// noise makes either large, seldom both.
	SlopeZ   float32
	Level    float32
	SlopeMin float32 // with less lost the slope does not count
	SumLimit float32 // loss since the first baseline, visits' own offsets apart, that makes an alarm

	// Noise of the filter, one standard deviation per day.
	LevelNoise float32
	SlopeNoise float32 // per day
	TempNoise  float32 // of the temperature coefficient, per °C

	// Factors on the thresholds, learnt by a Group from the mirror; 1 as shipped.
	DriftScale float32 // on SlopeZ, Level and SumLimit
	StepScale  float32 // on StepLimit
}

// Default returns the settings as shipped.
func Default() Settings {
	return Settings{
		Clip:       0.75, // passes all honest noise and most steps
		BurstDepth: 0.45, // dips in bad weather end below it
		BurstNoise: 5.5,  // times the mean absolute deviation, 4.4 standard deviations of normal noise
		BurstLimit: 1.5,  // two hits in a day, or one on each of three days running
		StepSlack:  0.2,  // weather takes up to 0.3 dB for a day
		StepLimit:  3.2,  // 0.5 dB after 11 hours, 1 dB after 5
		SlopeZ:     2.92, // with Level: about one false alarm in 300 point-years
		Level:      0.18,
		SlopeMin:   0.045,
		SumLimit:   0.3,
		LevelNoise: 0.003,
		SlopeNoise: 1e-4,
		TempNoise:  1e-5,
		DriftScale: 1,
		StepScale:  1,
	}
}
