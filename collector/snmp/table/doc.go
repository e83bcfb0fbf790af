// Package table measures the SNMP client against a bare exchange of datagrams
// and against Net-SNMP's C interface, in one run on one machine. It holds
// nothing but tests: TestTable prints the rows and is skipped unless asked for.
//
// Agent, client and references are processes of their own; units are addresses
// of 127.0.0.0/8, all answered by one socket. Processor time is that of the
// measured process alone, so that a busy machine changes it little; a rate "a
// core" is its inverse.
package table
