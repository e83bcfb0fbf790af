package state

import (
	"encoding/binary"
	"hash/crc32"
	"strings"
	"time"
)

// An AlarmRow is one alarm as it is now.
type AlarmRow struct {
	ID, Site string
	Version  uint64 // rises with every change
	Body     []byte // JSON
}

// A ChangeRow is one line of the log of changes: something that happened to an
// alarm, or something a person or the program did beside the alarm list.
type ChangeRow struct {
	Entry    uint64 // place in the log, given by the store
	Seq      uint64 // of the change of the alarm list; 0: the line is not about an alarm
	AlarmID  string
	Site     string
	Kind     string
	Operator string // who; empty: nobody
	From     string // from where: an address or the name of a command
	Text     string // what they said, or what was done
	Time     time.Time
	Body     []byte // JSON; empty: none
}

// An EvidenceRow is what the evaluator keeps under a key of its own.
type EvidenceRow struct {
	Key  string
	Body []byte // JSON
}

// States of a row of the outbox. A row that is Delivered leaves it.
const (
	Pending   = "pending"
	Dead      = "dead"
	Delivered = "delivered"
)

// An OutboxRow is one message for one endpoint. Endpoint and ID are its key;
// State, Attempts, Next and LastError are what changes.
type OutboxRow struct {
	Endpoint, ID string
	AlarmID      string // messages about one alarm go in order
	Seq          uint64 // of the change it tells of; 0: of none
	Type         string
	ContentType  string
	Body         []byte // any bytes
	Created      time.Time
	State        string
	Attempts     int
	Next         time.Time // earliest moment of the next attempt
	LastError    string
}

// A BaselineRow is one accepted version of a unit's baseline. It never
// changes.
type BaselineRow struct {
	Unit     string
	Version  int
	Accepted time.Time
	By       string
	Body     []byte // JSON
}

// An AuditRow is a line of the log that is not about an alarm: a reload, a
// baseline that was accepted, a delivery sent again.
type AuditRow struct {
	Time      time.Time
	Who, From string
	What      string // the kind of the line
	Detail    string
	Site      string // empty: of none
	Body      []byte // JSON; empty: none
}

// A Batch is what one round of evaluation of one site writes. All of it is
// stored, or nothing.
type Batch struct {
	Site         string      // named in errors; empty: several
	Alarms       []AlarmRow  // as they are after the round
	Purged       []string    // ids of alarms that are gone
	Changes      []ChangeRow // Entry is not read
	Evidence     []EvidenceRow
	EvidenceGone []string // keys
	Outbox       []OutboxRow
	Documents    []Document
}

// A Document is a small text under a name of its own.
type Document struct {
	Name string
	Body []byte // JSON
}

// A Filter chooses lines of the log. The zero Filter passes all.
type Filter struct {
	Alarm  string    // id; empty: any
	Site   string    // empty: any
	NoSite bool      // only lines that are of no site: starts, stops, reloads
	Since  time.Time // zero: from the beginning
	Before uint64    // lines that follow the one with this Entry in a listing; 0: from the newest on
	Limit  int       // at most so many; 0: DefaultLimit
}

// DefaultLimit is how many rows a listing without a limit returns.
const DefaultLimit = 1000

// An OutboxCount is how the outbox stands for one endpoint.
type OutboxCount struct {
	Pending, Dead int
	Oldest        time.Time // Created of the oldest pending row; zero: none
}

// stamp returns t as it is stored.
func stamp(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}

func moment(ns int64) time.Time {
	if ns == 0 {
		return time.Time{}
	}
	return time.Unix(0, ns).UTC()
}

// clean makes free text storable in either database: PostgreSQL takes neither
// broken UTF-8 nor a zero byte, and one such text would stop every write.
func clean(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// checksum returns a sum over the texts, their lengths and the numbers.
func checksum(texts []string, body []byte, numbers ...int64) int64 {
	sum := uint32(0)
	var word [8]byte
	number := func(n int64) {
		binary.LittleEndian.PutUint64(word[:], uint64(n))
		sum = crc32.Update(sum, castagnoli, word[:])
	}
	for _, t := range texts {
		number(int64(len(t)))
		sum = crc32.Update(sum, castagnoli, []byte(t))
	}
	for _, n := range numbers {
		number(n)
	}
	return int64(crc32.Update(sum, castagnoli, body))
}

func (r AlarmRow) checksum() int64 {
	return checksum([]string{r.ID, r.Site}, r.Body, int64(r.Version))
}

func (r ChangeRow) checksum() int64 {
	return checksum([]string{r.AlarmID, r.Site, r.Kind, r.Operator, r.From, r.Text}, r.Body, int64(r.Entry), int64(r.Seq), stamp(r.Time))
}

func (r EvidenceRow) checksum() int64 { return checksum([]string{r.Key}, r.Body) }

func (r OutboxRow) checksum(place int64) int64 {
	return checksum([]string{r.Endpoint, r.ID, r.AlarmID, r.Type, r.ContentType}, r.Body, place, int64(r.Seq), stamp(r.Created))
}

// progress is the checksum of what changes.
func (r OutboxRow) progress() int64 {
	return checksum([]string{r.Endpoint, r.ID, r.State, r.LastError}, nil, int64(r.Attempts), stamp(r.Next))
}

func (r BaselineRow) checksum() int64 {
	return checksum([]string{r.Unit, r.By}, r.Body, int64(r.Version), stamp(r.Accepted))
}
