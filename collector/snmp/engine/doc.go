// Package engine exchanges short messages with very many units over a few
// sockets: the transport under the SNMP client.
//
// A socket serves a window of questions. Each question holds a slot while it is
// under way; the slot's number and chance make up the id that the message
// carries, so that an answer is found without a search and cannot be guessed.
// An answer counts only when id and source address fit; everything else is
// counted and dropped. All questions wait equally long for an answer, so that one queue in
// the order of sending is all the timers there are. Units that stayed silent
// share a small window of their own and cannot slow the others.
//
// It guarantees that each question ends exactly once, that memory depends on
// the windows and on the questions asked and never on what strangers send, and
// that no datagram makes it panic. What the messages mean is the business of a
// Dialect. Times are those of the local clock.
package engine
