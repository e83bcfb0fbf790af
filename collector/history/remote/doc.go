// Package remote sends readings to other time-series databases by the remote
// write protocol, 1.0 or 2.0, and reads them back through the query API that
// such databases have.
//
// What it guarantees: a reading that was taken in is on disk before it is
// sent, and leaves the disk only when the receiver has it, has refused it for
// what it is, or the bound by size is reached; each case is counted. It goes
// out again after a kill, so that a receiver may see one twice, with the same
// time and value. A receiver that is down or slow holds up nothing.
//
// Names: lightwell_reading_ and the metric name of the quantity, with the
// labels unit, port and quantity; values in base units as on the page of
// metrics; a state is the place of its name in the quantity's list of states.
// Names and labels stay as they are. The protocol is that of
// https://prometheus.io/docs/specs/prw/remote_write_spec/ and
// https://prometheus.io/docs/specs/prw/remote_write_spec_2_0/.
package remote
