package remote

import (
	"slices"

	"github.com/prometheus/client_golang/exp/api/remote"
	writev2 "github.com/prometheus/client_golang/exp/api/remote/genproto/v2"
	"github.com/prometheus/prometheus/prompb"

	"lightwell/collector"
)

// namePrefix begins the name of every series.
const namePrefix = "lightwell_reading_"

// Labels beside the name. Receivers want them sorted.
const (
	portLabel     = "port"
	quantityLabel = "quantity"
	unitLabel     = "unit"
)

// series are the samples of one point, by time.
type series struct {
	labels  []string // names and values in turn, sorted by name
	samples []point
}

// group puts readings of the same point together. Points have passed
// ParsePoint, so their quantities are in the table.
func group(points []point) []series {
	type key struct {
		unit  string
		point collector.Point
	}
	index := map[key]int{}
	var out []series
	for _, p := range points {
		k := key{p.unit, p.point}
		i, ok := index[k]
		if !ok {
			i = len(out)
			index[k] = i
			out = append(out, series{labels: labelsOf(p.unit, p.point)})
		}
		p.value = p.point.Quantity.BaseUnit(p.value)
		out[i].samples = append(out[i].samples, p)
	}
	for i := range out {
		slices.SortStableFunc(out[i].samples, func(a, b point) int { return int(a.time - b.time) })
	}
	return out
}

func labelsOf(unit string, p collector.Point) []string {
	info, _ := p.Quantity.Info()
	l := []string{"__name__", namePrefix + info.Metric}
	if p.Port != "" {
		l = append(l, portLabel, p.Port)
	}
	return append(l, quantityLabel, string(p.Quantity), unitLabel, unit)
}

// message returns readings as a request of the protocol.
func message(protocol string, points []point) (remote.WriteMessageType, any) {
	all := group(points)
	if protocol == Protocol2 {
		return remote.WriteV2MessageType, message2(all)
	}
	return remote.WriteV1MessageType, message1(all)
}

func message1(all []series) *prompb.WriteRequest {
	req := &prompb.WriteRequest{Timeseries: make([]prompb.TimeSeries, len(all))}
	for i, s := range all {
		ts := &req.Timeseries[i]
		for j := 0; j < len(s.labels); j += 2 {
			ts.Labels = append(ts.Labels, prompb.Label{Name: s.labels[j], Value: s.labels[j+1]})
		}
		for _, p := range s.samples {
			ts.Samples = append(ts.Samples, prompb.Sample{Value: p.value, Timestamp: p.time})
		}
	}
	return req
}

func message2(all []series) *writev2.Request {
	symbols := writev2.NewSymbolTable()
	req := &writev2.Request{Timeseries: make([]*writev2.TimeSeries, len(all))}
	for i, s := range all {
		ts := &writev2.TimeSeries{
			LabelsRefs: symbols.SymbolizeLabels(s.labels, nil),
			Metadata:   &writev2.Metadata{Type: writev2.Metadata_METRIC_TYPE_GAUGE},
		}
		for _, p := range s.samples {
			ts.Samples = append(ts.Samples, &writev2.Sample{Value: p.value, Timestamp: p.time})
		}
		req.Timeseries[i] = ts
	}
	req.Symbols = symbols.Symbols()
	return req
}
