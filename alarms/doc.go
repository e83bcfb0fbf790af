// Package alarms turns readings into alarms: states that need an action of a
// person. It holds the alarm and its life cycle after RFC 8632, the List of
// all alarms, the Rule that judges a site, and the Engine that applies rules
// to what the poller brings, damps them, keeps consequences behind their
// cause and hands every change on.
//
// It guarantees that an alarm is raised and cleared on evidence only: a
// reading that is missing neither raises nor clears a comparison. Its data
// are the polls of package collector and the baselines of package baseline.
package alarms
