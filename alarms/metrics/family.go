package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// family is one metric family.
type family struct {
	name, help string
	labels     []string
	kind       prometheus.ValueType
}

func gauge(name, help string, labels ...string) *family {
	return newFamily(prometheus.GaugeValue, name, help, labels)
}

func counter(name, help string, labels ...string) *family {
	return newFamily(prometheus.CounterValue, name, help, labels)
}

func newFamily(kind prometheus.ValueType, name, help string, labels []string) *family {
	return &family{prefix + name, help, labels, kind}
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func seconds(at time.Time) float64 { return float64(at.UnixNano()) / 1e9 }
