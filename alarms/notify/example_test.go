package notify_test

import (
	"context"
	"fmt"
	"net/http/httptest"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

// A receiver and a dispatcher that share a secret.
func ExampleNew() {
	secret := notify.GenerateSecret()
	arrived := make(chan struct{})
	receiver, err := notify.NewReceiver([]collector.Secret{secret}, func(e cloudevents.Event) {
		var a notify.Alarm
		_ = e.DataAs(&a)
		fmt.Println(e.Type(), e.Subject(), a.Severity)
		close(arrived)
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	server := httptest.NewServer(receiver)
	defer server.Close()

	dispatcher, err := notify.New(notify.Config{Source: "/lightwell/example", Endpoints: []notify.Endpoint{
		{Name: "noc", URL: collector.NewSecret(server.URL), Secrets: []collector.Secret{secret}, Severity: alarms.Major},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- dispatcher.Run(ctx) }()

	_ = dispatcher.Publish([]alarms.Change{{Seq: 1, Time: time.Now(), Kind: alarms.Raised, Notify: true, Alarm: alarms.Alarm{
		Key: alarms.Key{Resource: "unit/nq-room", Type: "supply-failed"}, Severity: alarms.Critical, Text: "both supplies failed",
	}}})
	<-arrived
	stop()
	<-done
	// Output: lightwell.alarm.raised unit/nq-room critical
}
