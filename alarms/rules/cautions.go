package rules

import "lightwell/alarms/caution"

// Cautions by place, as the rules name them.
var (
	pathCare    = caution.Path
	antennaCare = caution.Antenna
	mainsCare   = caution.Mains
	boxCare     = caution.Box
	unitCare    = caution.Unit
	sourceCare  = caution.Source
)
