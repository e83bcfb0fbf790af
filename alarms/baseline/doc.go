// Package baseline keeps what each point read at commissioning, and learns from
// then on what belongs to it: how much single readings scatter, which
// temperature explains the point, and by how much.
//
// A visit's capture of ten polls or so is accepted by a person and in force at
// once. Then the unit is learnt, hour by hour. After a day with enough hours
// its levels are provisional: spread, and a first temperature coefficient.
// After two weeks they are final, once the statistics accept them: four fifths
// of the hours of each of the last seven days, halves that agree, no slope
// beyond two standard errors, no step, no outage within a day. Capture and
// Learning say in plain words what is missing.
//
// Two things must not be mixed up. A Record is a version: what a person has
// accepted. It never changes, and every version is kept with who accepted it,
// when, why, and in which visit; the first one too, for ever. A Refinement adds
// to a version what was learnt of it, never another value, and is kept as well.
// If the two weeks contradict what was accepted, the level says so; only a
// person, in a recorded visit, replaces it.
//
// Nothing is learnt during planned work and visits and for two hours after
// them, or after an outage. Work under way survives a restart, but for the hour
// under way. The package compares readings with the baseline at equal
// temperature. Its data are the readings of package collector.
package baseline
