package snmp

import (
	"errors"
	"fmt"
	"math"
	"net/netip"

	"github.com/gosnmp/gosnmp"

	"lightwell/collector/model"
	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/get"
)

// Error statuses of a response (RFC 3416 section 3).
const (
	noError             = 0
	tooBig              = 1
	noSuchName          = 2
	genErr              = 5
	noAccess            = 6
	resourceUnavailable = 13
	authorizationError  = 16
)

var statusNames = map[int32]string{tooBig: "tooBig", noSuchName: "noSuchName", 3: "badValue", 4: "readOnly", genErr: "genErr", noAccess: "noAccess",
	resourceUnavailable: "resourceUnavailable", authorizationError: "authorizationError"}

func statusName(status int32) string {
	if name, ok := statusNames[status]; ok {
		return name
	}
	return fmt.Sprintf("error status %d", status)
}

// A response is the answer to one GET.
type response struct {
	status int32 // an error status
	index  int32 // which object it is about, from 1; 0 for none
	fields []field
}

// A field is one variable of a response.
type field struct {
	gosnmp.SnmpPDU
	fault string // why the value cannot be taken as gosnmp decodes it
}

// readResponse decodes a PDU, one whole element, and checks that it is the
// answer to the request of that id for these objects in this order. What it
// returns may alias pdu.
//
// The header is read here and not by gosnmp, which cuts request id, status and
// index to fewer bits than came and so would take 256 for noError.
func readResponse(pdu []byte, id int32, objects []string) (response, error) {
	if !ber.Whole(pdu) {
		return response{}, errors.New("PDU is not whole")
	}
	r := ber.NewReader(pdu).Into(ber.Response)
	gotID := r.Int32()
	out := response{status: r.Int32(), index: r.Int32()}
	list := r.Into(ber.Sequence)
	if err := r.End(); err != nil {
		return response{}, fmt.Errorf("decode response: %w", err)
	}
	if gotID != id {
		return response{}, errRequestID
	}
	if out.status != noError {
		if out.index < 0 || int(out.index) > len(objects) {
			return response{}, fmt.Errorf("%s at object %d of %d", statusName(out.status), out.index, len(objects))
		}
		return out, nil
	}
	variables, err := decodeVariables(pdu)
	if err != nil {
		return response{}, err
	}
	if len(variables) != len(objects) {
		return response{}, fmt.Errorf("%d objects came instead of %d", len(variables), len(objects))
	}
	out.fields = make([]field, len(variables))
	for i, v := range variables {
		if len(v.Name) == 0 || v.Name[1:] != objects[i] {
			return response{}, fmt.Errorf("object %s came instead of %s", v.Name, objects[i])
		}
		raw := list.Into(ber.Sequence)
		raw.Any()
		out.fields[i] = field{v, numberFault(raw.Any())}
	}
	return out, list.End()
}

// numberFault says what is wrong with the octets of a number; gosnmp takes no
// octets for 0 and cuts time ticks to 32 bits.
func numberFault(tag byte, content []byte) string {
	most := 4
	switch gosnmp.Asn1BER(tag) {
	default:
		return ""
	case gosnmp.Integer:
	case gosnmp.Counter64:
		most = 8
		fallthrough
	case gosnmp.Counter32, gosnmp.Gauge32, gosnmp.TimeTicks, gosnmp.Uinteger32:
		for len(content) > 1 && content[0] == 0 {
			content = content[1:]
		}
	}
	switch {
	case len(content) == 0:
		return "the number has no octets"
	case len(content) > most:
		return fmt.Sprintf("the number is beyond %d bits", most*8)
	}
	return ""
}

var errRequestID = errors.New("request id is not that of the request")

// decodeVariables has gosnmp decode the variables of a PDU, in a message of its
// own making: the message around the PDU has been checked and taken off.
// gosnmp may panic on bytes that it does not expect.
func decodeVariables(pdu []byte) (variables []gosnmp.SnmpPDU, err error) {
	defer func() {
		if p := recover(); p != nil {
			variables, err = nil, fmt.Errorf("decode response: %v", p)
		}
	}()
	body := append(make([]byte, 0, len(pdu)+16), ber.Integer, 1, 1, ber.OctetString, 0)
	body = append(body, pdu...)
	codec := gosnmp.GoSNMP{Version: gosnmp.Version2c}
	packet, err := codec.SnmpDecodePacket(ber.Append(make([]byte, 0, len(body)+8), ber.Sequence, body))
	if err != nil {
		return nil, fmt.Errorf("decode response: %w", err)
	}
	return packet.Variables, nil
}

// value turns what gosnmp decoded into a value of ours, which shares no memory
// with it. What cannot be true is missing, and the note says why.
func value(f field) (v model.Value, note string) {
	if f.fault != "" {
		return missing("%s", f.fault)
	}
	switch x := f.Value.(type) {
	case int:
		return model.Value{Kind: model.Integer, Int: int64(x)}, ""
	case uint: // Counter32, Gauge32
		return model.Value{Kind: model.Unsigned, Uint: uint64(x)}, ""
	case uint32:
		return model.Value{Kind: model.Unsigned, Uint: uint64(x)}, ""
	case uint64:
		return model.Value{Kind: model.Unsigned, Uint: x}, ""
	case float32:
		return float(float64(x))
	case float64:
		return float(x)
	case []byte:
		return model.Value{Kind: model.Bytes, Bytes: append([]byte{}, x...)}, ""
	case string:
		return text(f.Type, x)
	}
	switch f.Type {
	case gosnmp.NoSuchObject:
		return model.Value{}, get.NoObject
	case gosnmp.NoSuchInstance:
		return model.Value{}, get.NoInstance
	case gosnmp.EndOfMibView:
		return model.Value{}, get.EndOfView
	case gosnmp.Null:
		return model.Value{Kind: model.Null}, get.IsNull
	}
	return missing("value of a type that is not known or cannot be decoded")
}

func missing(format string, args ...any) (model.Value, string) {
	return model.Value{Kind: model.Missing}, fmt.Sprintf(format, args...)
}

func float(x float64) (model.Value, string) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return missing("the number is %g", x)
	}
	return model.Value{Kind: model.Float, Float: x}, ""
}

func text(kind gosnmp.Asn1BER, x string) (model.Value, string) {
	if kind == gosnmp.IPAddress {
		if a, err := netip.ParseAddr(x); err == nil {
			return model.Value{Kind: model.Bytes, Bytes: a.AsSlice()}, ""
		}
		return missing("address cannot be decoded")
	}
	if len(x) > 0 && x[0] == '.' {
		x = x[1:]
	}
	return model.Value{Kind: model.Object, OID: x}, ""
}
