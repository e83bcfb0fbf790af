package collector

// A Quantity is what is measured. Its name is the word used in files, in the
// API and on the page; everything else about it stands in one row of the
// table that Quantities returns.
type Quantity string

// The quantities of an RF-over-fibre link.
const (
	OpticalReceivePower  Quantity = "optical_receive_power"
	OpticalTransmitPower Quantity = "optical_transmit_power"
	OpticalReceiveState  Quantity = "optical_receive_state"
	LaserBias            Quantity = "laser_bias"
	LaserState           Quantity = "laser_state"
	Temperature          Quantity = "temperature"
	SupplyState          Quantity = "supply_state"
	SupplyVoltage        Quantity = "supply_voltage"
	RFInputLevel         Quantity = "rf_input_level"
	RFOutputLevel        Quantity = "rf_output_level"
	RFNoiseFloor         Quantity = "rf_noise_floor"
	LNACurrent           Quantity = "lna_current"
	AntennaFeedState     Quantity = "antenna_feed_state"
	AGCAttenuation       Quantity = "agc_attenuation"
	HeaterState          Quantity = "heater_state"
	Uptime               Quantity = "uptime"
)

// States of the enumerated quantities. Value of a reading is the place of the
// state in the States list of the quantity's row.
const (
	StateGood    = "good"
	StateFailed  = "failed"
	StateAbsent  = "absent"
	StateLost    = "lost"
	StateOpen    = "open"
	StateShort   = "short"
	StateOn      = "on"
	StateOff     = "off"
	StateWarming = "warming"
)

// Bad tells which way a quantity goes when something is wrong.
type Bad int

// Directions of Bad.
const (
	BadNever  Bad = iota // not judged by size
	BadLow               // less is worse: receive power, RF level
	BadHigh              // more is worse: laser bias
	BadEither            // away from the baseline is worse: temperature, LNA current
	BadState             // enumerated: any state but the first is worth a look
)

// QuantityInfo is one row of the quantity table. History, metrics and page
// derive from it, so that a new quantity is one new row.
type QuantityInfo struct {
	Quantity Quantity
	Title    string   // for people: "optical receive power"
	Unit     string   // symbol: "dBm", "mA", "°C", "" for states
	Metric   string   // metric name without the program's prefix
	Help     string   // one sentence for the metric, with unit and meaning
	Min, Max float64  // plausible range, inclusive; outside it quality is out of range
	Bad      Bad      // which way is bad
	Compared bool     // has a baseline
	States   []string // names of the states; nil for a measured number
	Decimals int      // digits after the point that a person wants to see
}

// quantities is the table. Ranges are wide on purpose: they catch garbage,
// not faults. Optical range: SFF-8472 stores 0.1 µW to 6.5535 mW, that is
// -40 to +8.2 dBm; analogue transmitters reach +13 dBm (common practice).
var quantities = []QuantityInfo{
	{OpticalReceivePower, "optical receive power", "dBm", "optical_receive_power_dbm", "Optical power arriving at the unit's receiver, in dBm.", -45, 15, BadLow, true, nil, 2},
	{OpticalTransmitPower, "optical transmit power", "dBm", "optical_transmit_power_dbm", "Optical power leaving the unit's laser, in dBm.", -45, 15, BadLow, true, nil, 2},
	{OpticalReceiveState, "optical receive state", "", "optical_receive_state", "State of the unit's optical receiver, 1 for the state that holds.", 0, 1, BadState, false, []string{StateGood, StateLost}, 0},
	{LaserBias, "laser bias current", "mA", "laser_bias_amperes", "Bias current of the unit's laser, in amperes.", 0, 500, BadHigh, true, nil, 2},
	{LaserState, "laser state", "", "laser_state", "State of the unit's laser, 1 for the state that holds.", 0, 3, BadState, false, []string{StateOn, StateOff, StateWarming, StateFailed}, 0},
	{Temperature, "case temperature", "°C", "temperature_celsius", "Case temperature of the unit, in degrees Celsius.", -60, 120, BadEither, false, nil, 1},
	{SupplyState, "supply state", "", "supply_state", "State of one supply of the unit, 1 for the state that holds.", 0, 2, BadState, false, []string{StateGood, StateFailed, StateAbsent}, 0},
	{SupplyVoltage, "supply voltage", "V", "supply_voltage_volts", "Voltage of one supply of the unit, in volts.", 0, 500, BadEither, true, nil, 2},
	{RFInputLevel, "RF input level", "dBm", "rf_input_level_dbm", "RF level at the unit's input, in dBm.", -150, 40, BadLow, true, nil, 2},
	{RFOutputLevel, "RF output level", "dBm", "rf_output_level_dbm", "RF level at the unit's output, in dBm.", -150, 40, BadLow, true, nil, 2},
	{RFNoiseFloor, "RF noise floor", "dBm/Hz", "rf_noise_floor_dbm_per_hertz", "Noise density at the unit's output, in dBm per hertz.", -180, -50, BadHigh, true, nil, 2},
	{LNACurrent, "antenna feed current", "mA", "lna_current_amperes", "Current that the unit feeds to the antenna's low-noise amplifier, in amperes.", 0, 2000, BadEither, true, nil, 1},
	{AntennaFeedState, "antenna feed state", "", "antenna_feed_state", "State of the direct-current feed to the antenna, 1 for the state that holds.", 0, 2, BadState, false, []string{StateGood, StateOpen, StateShort}, 0},
	{AGCAttenuation, "AGC attenuation", "dB", "agc_attenuation_decibels", "Attenuation set by the unit's automatic gain control, in decibels.", 0, 80, BadNever, true, nil, 2},
	{HeaterState, "heater state", "", "heater_state", "State of the unit's heater, 1 for the state that holds.", 0, 2, BadNever, false, []string{StateOff, StateOn, StateFailed}, 0},
	{Uptime, "uptime", "s", "uptime_seconds", "Time since the unit's management agent started, in seconds.", 0, 4294967296, BadNever, false, nil, 0},
}

var quantityIndex = func() map[Quantity]*QuantityInfo {
	m := make(map[Quantity]*QuantityInfo, len(quantities))
	for i := range quantities {
		m[quantities[i].Quantity] = &quantities[i]
	}
	return m
}()

// Quantities returns the table in its fixed order. The caller owns the slice,
// not the States inside it.
func Quantities() []QuantityInfo { return append([]QuantityInfo(nil), quantities...) }

// Info returns the row of q; ok is false when q is not in the table.
func (q Quantity) Info() (info QuantityInfo, ok bool) {
	p, ok := quantityIndex[q]
	if !ok {
		return QuantityInfo{}, false
	}
	return *p, true
}

// StateValue returns the number that stands for a state of q, and false when
// q has no such state.
func (q Quantity) StateValue(state string) (float64, bool) {
	if p, ok := quantityIndex[q]; ok {
		for i, s := range p.States {
			if s == state {
				return float64(i), true
			}
		}
	}
	return 0, false
}

// StateName returns the state that v stands for, or "" when q is a measured
// number or v is not one of its states.
func (q Quantity) StateName(v float64) string {
	p, ok := quantityIndex[q]
	if !ok || v != float64(int(v)) || v < 0 || int(v) >= len(p.States) {
		return ""
	}
	return p.States[int(v)]
}

// BaseUnit returns v, a value of q in the quantity's own unit, in the unit of
// the quantity's metric: milliamperes become amperes, all else stays.
func (q Quantity) BaseUnit(v float64) float64 {
	if p, ok := quantityIndex[q]; ok && p.Unit == "mA" {
		return v / 1000
	}
	return v
}
