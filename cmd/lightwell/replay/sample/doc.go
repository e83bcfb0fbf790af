// Package sample replays drift detection over a folder of recorded or made-up
// points, writes what it would have told, and scores that against the truth
// where the truth is known.
//
// A folder holds readings.csv.gz (or readings.csv) with a line for each point
// and day, the lines of a point in order of days: series, day, rx_cdb (receive
// power in 0.01 dBm) and temp_ddegc (0.1 °C), as many integers in each as
// there were polls in the day, evenly spread, x where there was no answer. In
// service.csv, which may be missing, stand the recorded visits: series,
// begin_s, finish_s, in seconds from the start of day 0.
//
// The readings are gone through twice. First only to see what the mirror of
// all points did until each day, then to detect with the thresholds that the
// days before give: as the daemon would have learnt them, nothing is known of
// the days to come. Memory is that of one line, and of 160 bytes and the daily
// losses of each point.
package sample
