// Package diagnosis says what the deviations of a site have in common.
//
// What is seen of a site (levels against their baselines at both ends and in
// both directions, states, silence, restarts, the course in time, what a visit
// recorded) is one vector of cells, each with its measured spread. A cause, at
// a place, predicts a part of that vector: its signature, a row of the table
// in causes.go and the files beside it, which holds direction and size per
// quantity. Each cause is fitted to the vector at each place it can be, with
// its size free; likelihood times prior ranks them. What the best one leaves
// unexplained is fitted again, so that two faults at once are found as two,
// and pairs are tried against each other before that. Causes that explain the
// same signs nearly as well are named with the measurement that decides.
//
// It guarantees that it is pure: the same view gives the same findings. What
// is not measured has no part in it: a value that a unit read over a dark
// fibre has kept is not a value. Its data are the readings, baselines and
// short memories of package alarms and the wiring of the fleet. The causes are
// the usual ones of the trade; their signatures follow the physics of package
// budget, and where they do not, common practice.
package diagnosis
