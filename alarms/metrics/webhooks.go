package metrics

import (
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

func webhookFamilies() []*family {
	return []*family{webhookAttempts, webhookFailures, webhookDelivered, webhookGivenUp, webhookDropped,
		webhookPending, webhookDead, webhookOldest, webhookSuccess, webhookState}
}

func (m *Metrics) fillWebhook(out *sheet) {
	if m.cfg.Webhooks == nil {
		return
	}
	for _, s := range m.cfg.Webhooks.Stats() {
		out.put(webhookAttempts, float64(s.Attempts), s.Endpoint)
		out.put(webhookFailures, float64(s.Failures), s.Endpoint)
		out.put(webhookDelivered, float64(s.Delivered), s.Endpoint)
		out.put(webhookGivenUp, float64(s.GivenUp), s.Endpoint)
		out.put(webhookDropped, float64(s.Dropped), s.Endpoint)
		out.put(webhookPending, float64(s.Pending), s.Endpoint)
		out.put(webhookDead, float64(s.Dead), s.Endpoint)
		out.putTime(webhookOldest, s.Oldest, s.Endpoint)
		out.putTime(webhookSuccess, s.LastSuccess, s.Endpoint)
		out.putStates(webhookState, webhookStates, string(s.State), s.Endpoint)
	}
}
