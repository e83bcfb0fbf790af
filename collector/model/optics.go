package model

import (
	"fmt"

	"lightwell/collector"
	"lightwell/collector/budget"
)

// opticsLayout is what a link with such a unit is planned with.
type opticsLayout struct {
	TransmitPowerDBm *float64      `yaml:"transmit_power_dbm"`
	TransmitSpreadDB *float64      `yaml:"transmit_spread_db"`
	GainDB           *float64      `yaml:"gain_db"`
	Noise            []noiseLayout `yaml:"noise"`
	AGCReserveDB     *float64      `yaml:"agc_reserve_db"`
	MonitorErrorDB   *float64      `yaml:"monitor_error_db"`
}

type noiseLayout struct {
	LossDB        float64 `yaml:"loss_db,required"`
	NoiseFigureDB float64 `yaml:"noise_figure_db,required"`
}

// What holds when a model does not say it.
const (
	// DefaultTransmitSpreadDB is the standard deviation of transmit power
	// between units of one type (common practice).
	DefaultTransmitSpreadDB = 0.5
	// DefaultMonitorErrorDB is the most that a power monitor may be off by
	// SFF-8472 (clauses 9.2 and 9.3, from memory).
	DefaultMonitorErrorDB = 3
)

// optics checks what a link is planned with.
func (l *loader) optics() collector.Optics {
	f := l.layout.Optics
	out := collector.Optics{
		TransmitPowerDBm: f.TransmitPowerDBm, GainDB: f.GainDB, AGCReserveDB: f.AGCReserveDB,
		TransmitSpreadDB: DefaultTransmitSpreadDB, MonitorErrorDB: DefaultMonitorErrorDB,
	}
	for _, c := range []struct {
		key        string
		value      *float64
		into       *float64
		least, top float64
		remedy     string
	}{
		{"transmit_power_dbm", f.TransmitPowerDBm, nil, -45, 15, "write the nominal power of the laser in dBm, like -0.5"},
		{"transmit_spread_db", f.TransmitSpreadDB, &out.TransmitSpreadDB, 0, 5, "write the standard deviation between units in dB, like 0.5"},
		{"gain_db", f.GainDB, nil, -100, 100, "write the RF gain of a link without optical loss in dB, like 20"},
		{"agc_reserve_db", f.AGCReserveDB, nil, 0, 80, "write the gain that the control holds in reserve in dB, like 10"},
		{"monitor_error_db", f.MonitorErrorDB, &out.MonitorErrorDB, 0, 10, "write the most that a power monitor is off in dB, like 3"},
	} {
		if c.value == nil {
			continue
		}
		if !(*c.value >= c.least && *c.value <= c.top) {
			l.fault("$.optics."+c.key, c.remedy, "%s %g is outside %g to %g", c.key, *c.value, c.least, c.top)
		}
		if c.into != nil {
			*c.into = *c.value
		}
	}
	out.Noise = l.noise(f.Noise)
	return out
}

// maxLossDB is the greatest optical loss of a noise figure: far beyond what an
// analogue link bears.
const maxLossDB = 40

func (l *loader) noise(given []noiseLayout) []collector.NoisePoint {
	var out []collector.NoisePoint
	var points []budget.NoisePoint
	for i, n := range given {
		at := fmt.Sprintf("$.optics.noise[%d]", i)
		if !(n.LossDB >= 0 && n.LossDB <= maxLossDB) {
			l.fault(at+".loss_db", "write the optical loss it was measured at in dB, like 8", "loss_db %g is outside 0 to %d", n.LossDB, maxLossDB)
		}
		if !(n.NoiseFigureDB >= 0 && n.NoiseFigureDB <= 100) {
			l.fault(at+".noise_figure_db", "write the noise figure of a link in dB, like 33.2", "noise_figure_db %g is outside 0 to 100", n.NoiseFigureDB)
		}
		out = append(out, collector.NoisePoint(n))
		points = append(points, budget.NoisePoint{Loss: budget.DB(n.LossDB), NoiseFigure: budget.DB(n.NoiseFigureDB)})
	}
	if len(points) == 0 {
		return nil
	}
	if _, err := budget.NewLinkNoise(points); err != nil {
		l.fault("$.optics.noise", err.Error()+"; or just one", "%d noise figures make no curve", len(points))
	}
	return out
}
