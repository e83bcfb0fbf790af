// Package history keeps readings: every one of them for weeks, and median,
// minimum, maximum and count of each hour for years. Both are time-series
// databases in a folder, opened in this process; nothing else is needed.
//
// What it guarantees: a reading that was written survives the kill of the
// process, and all but the last seconds survive a power cut; only good
// readings are kept, so that a gap is a gap; a reading ahead of the clock is
// refused, because a single one would make all later readings too old; a slow
// or full disk costs readings, counted, and never holds up polling. Alarms do
// not depend on it.
//
// Its data come from the polls handed to Append. Package remote below it
// sends the same readings to other databases and reads them back.
package history
