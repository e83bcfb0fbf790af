// Package collector holds what Lightwell knows about the plant it watches and
// how it reads it: units, links, cables and sites; quantities, points and
// readings; the Prober that reads one unit and the Poller that reads all of
// them on schedule.
//
// The package guarantees that a value it hands on was really measured: a
// missing, broken or implausible value carries its quality and no number.
// Data comes from a fleet file (package inventory), from equipment models
// (package model) and from the units themselves (package snmp, or package
// plant when the plant is simulated). Nothing here knows about alarms.
package collector
