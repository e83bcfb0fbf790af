// Package alarms turns readings into alarms: states that need an action of a
// person. It holds the alarm and its life cycle after RFC 8632, the List of
// all alarms, the Rule that judges a site, and the Engine that applies rules
// to what the poller brings, damps them, keeps consequences behind their
// cause and hands every change on.
//
// A poll makes its site dirty; soon after, the rules judge the site as a
// whole, each verdict is damped until enough evidence agrees, severities are
// assigned, planned work and causes hold back what need not be announced, and
// the outcome enters the list in one step that can be stored whole. A held
// alarm is in the list; if it still stands when the hold ends it is announced
// then. Each alarm that was announced is also announced as cleared or purged,
// and never twice without that in between. An alarm that chatters must be
// quiet for longer before it clears (see chatter).
//
// It guarantees that an alarm is raised and cleared on evidence only: a
// reading that is missing neither raises nor clears a comparison. Its data
// are the polls of package collector and the baselines of package baseline.
package alarms
