// Package notify tells the outside about alarms: it turns every change of the
// alarm list into a webhook for each endpoint that wants it, keeps it in an
// outbox until it is delivered, and reminds where nobody acknowledges.
//
// A message is a CloudEvents 1.0 event in structured JSON, or the text of the
// endpoint's own template, signed by the Standard Webhooks 1.0.0 scheme. The
// package guarantees: each message is sent at least once, with the same id
// and body at every attempt, until it is delivered, refused for good or given
// up; messages of one alarm reach one endpoint in order, one at a time;
// secrets, and the address with its path, appear in no log, error or figure.
// The body of a message and the event types are an interface that stays.
//
// Its data are the changes of package alarms. Publish may be called while the
// alarm list is locked: it only fills the outbox; Run does the sending.
//
// Addresses. A receiver may stand in a private network or on the same
// machine, as those of operations rooms do. Link-local, multicast, broadcast
// and unspecified addresses and the known metadata addresses of hosting
// providers are refused when the connection is made, after the name is
// resolved, unless the endpoint allows its host by name. Proxies named in the
// environment are not used, because this check would not see behind them.
package notify
