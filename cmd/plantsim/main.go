// Command plantsim is a simulated plant that answers SNMP: the units of a
// fleet file on loopback addresses, moved by the physics of package plant and
// by the faults of a scenario. It is for trials, training and acceptance.
// Nothing can be changed through it, and the same seed gives the same plant.
// Its data come from the fleet, model, scenario and configuration files named
// on the command line; secrets come from files or the environment only.
package main

import "lightwell/cmd/exit"

func main() { exit.Main(run) }
