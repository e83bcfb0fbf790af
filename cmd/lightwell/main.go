// Command lightwell watches RF-over-fibre links: it polls every unit over
// SNMP, compares each reading with its commissioning baseline, raises alarms
// that name cause and first action, and publishes metrics, webhooks, a page
// and an API. Its data come from the files named in its configuration and
// from the units; it only reads from them.
package main

import "lightwell/cmd/exit"

func main() { exit.Main(run) }
