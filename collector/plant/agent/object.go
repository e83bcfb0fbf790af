package agent

import "lightwell/collector/model"

// An Object is one SNMP object instance.
type Object struct {
	OID   string
	Value model.Value
}
