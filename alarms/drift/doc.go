// Package drift finds the slow fault in the readings of one point: a loss that
// grows (drift), one that came at once (step), one that comes and goes
// (bursts); and says how long is left.
//
// A Series is all that is known of one point: 160 bytes, constant work per
// reading, no allocation. It works on three scales. Each reading adds its
// clipped difference from the last hour's value, so that no outlier counts more
// than Settings.Clip. Each hour is compared, at equal temperature, with
// yesterday's level; a CUSUM of the difference finds steps. Each day the median
// of the hours goes into a filter with three states: level, slope, and the
// temperature coefficient that it keeps learning. Drift is told from the slope
// in units of its error, or from the level.
//
// A series commissions itself: a provisional baseline after a day, a final one
// after fourteen when the statistics accept it. A baseline changes only by
// Rebase, which is for a recorded visit; what was lost before it stays counted.
//
// Degradation goes one way. Every rule therefore also runs on the flipped sign:
// the alarms of that mirror are false by construction, and their rate is the
// running estimate of the rate of false alarms. A Group collects it over like
// points and scales the thresholds within bounds.
//
// The package is pure: no clock, no file, no goroutine; the same readings give
// the same answers. Losses are in dB against the baseline, positive is worse;
// slopes in dB per month of 30.4375 days. A Series is not safe for concurrent
// use. Method and figures follow published practice: CUSUM (Page 1954), Kalman
// filter, split conformal intervals; the settings are measured, see DEVELOPERS.md.
package drift
