// Package trend follows the slow changes of a fleet's optical powers: it keeps
// a drift.Series for each of them, feeds it with the polls, and gives the
// engine, the metrics and the page what came of it.
//
// What the package adds to drift is the fleet. It knows which laser feeds
// which receiver, and takes what the laser itself sends less, as soon as that
// stands out of its monitor's noise, out of what the receiver shows: a weak
// laser must not look like a bad fibre. It knows the thermometers at both ends
// and finds, while the baseline is taken, which of them explains a point. It
// stops while planned work is under way and lets units warm up. It begins anew
// when somebody accepts a new baseline, with the loss so far kept. It
// calibrates like points together, by model and quantity. For a point that
// drifts it asks history for the days since commissioning and forecasts when
// the limits are reached.
//
// What it guarantees: a poll costs a few microseconds and waits for no disk; a
// point costs about 250 bytes. What is known of a unit is stored as its day
// ends. After a kill the readings since then are fed again from history; where
// there is none the readings of that day are lost, and nothing else: a clean
// stop stores what it has. A unit that leaves the fleet keeps its place in the
// store for its return; one that comes back with another model begins anew.
//
// Its data are the polls, the baselines of package baseline, the planned work,
// and the history.
package trend
