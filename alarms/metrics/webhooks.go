package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"lightwell/alarms/notify"
)

var (
	webhookAttempts  = counter("webhook_attempts_total", "Requests made to the endpoint, heartbeats among them.", "endpoint")
	webhookFailures  = counter("webhook_attempt_failures_total", "Requests to the endpoint that did not succeed.", "endpoint")
	webhookDelivered = counter("webhook_deliveries_total", "Messages that the endpoint accepted, without heartbeats.", "endpoint")
	webhookGivenUp   = counter("webhook_given_up_total", "Messages given up: refused for good, out of attempts, or too old.", "endpoint")
	webhookDropped   = counter("webhook_dropped_total", "Messages lost because the outbox was full.", "endpoint")
	webhookPending   = gauge("webhook_pending", "Messages that wait to be delivered.", "endpoint")
	webhookDead      = gauge("webhook_dead", "Messages given up that are kept and can be sent again.", "endpoint")
	webhookOldest    = gauge("webhook_oldest_pending_timestamp_seconds", "When the oldest waiting message was made, in seconds since 1970; absent when none waits.", "endpoint")
	webhookSuccess   = gauge("webhook_last_success_timestamp_seconds", "When the endpoint last accepted a request, in seconds since 1970.", "endpoint")
	webhookState     = gauge("webhook_state", "How the endpoint stands, 1 for the state that holds; stopped after it answered 410.", "endpoint", "webhook_state")
)

var webhookStates = []string{string(notify.Active), string(notify.Failing), string(notify.Stopped)}

type webhookCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (webhookCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, webhookAttempts, webhookFailures, webhookDelivered, webhookGivenUp, webhookDropped,
		webhookPending, webhookDead, webhookOldest, webhookSuccess, webhookState)
}

// Collect implements prometheus.Collector.
func (c webhookCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.Webhooks == nil {
		return
	}
	for _, s := range c.cfg.Webhooks.Stats() {
		webhookAttempts.send(ch, float64(s.Attempts), s.Endpoint)
		webhookFailures.send(ch, float64(s.Failures), s.Endpoint)
		webhookDelivered.send(ch, float64(s.Delivered), s.Endpoint)
		webhookGivenUp.send(ch, float64(s.GivenUp), s.Endpoint)
		webhookDropped.send(ch, float64(s.Dropped), s.Endpoint)
		webhookPending.send(ch, float64(s.Pending), s.Endpoint)
		webhookDead.send(ch, float64(s.Dead), s.Endpoint)
		webhookOldest.sendTime(ch, s.Oldest, s.Endpoint)
		webhookSuccess.sendTime(ch, s.LastSuccess, s.Endpoint)
		webhookState.sendStates(ch, webhookStates, string(s.State), s.Endpoint)
	}
}
