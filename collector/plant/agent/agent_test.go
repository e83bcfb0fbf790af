package agent_test

import (
	"context"
	"fmt"
	"net/netip"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"go.uber.org/zap/zaptest"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	community  = "plant-read"
	password   = "maplesyrup-1"
	secret     = "privacy-pass-2"
	enterprise = "1.3.6.1.4.1.32473.7.1"
)

// bench is a Source whose objects a test sets.
type bench struct {
	mu      sync.Mutex
	objects []plant.Object
	silent  bool
}

func (b *bench) Objects(string, time.Time) ([]plant.Object, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.objects, b.silent
}

func (b *bench) set(f func(*bench)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.objects = append([]plant.Object(nil), b.objects...)
	f(b)
}

// upTime sets sysUpTime.0, in hundredths of a second.
func (b *bench) upTime(hundredths uint64) {
	b.set(func(b *bench) { b.objects[2].Value.Uint = hundredths })
}

func text(s string) model.Value { return model.Value{Kind: model.Bytes, Bytes: []byte(s)} }

func rackUnit() *bench {
	b := &bench{objects: []plant.Object{
		{OID: "1.3.6.1.2.1.1.1.0", Value: text("simulated rack unit")},
		{OID: "1.3.6.1.2.1.1.2.0", Value: model.Value{Kind: model.Object, OID: enterprise}},
		{OID: "1.3.6.1.2.1.1.3.0", Value: model.Value{Kind: model.Unsigned, Uint: 12345}},
		{OID: "1.3.6.1.2.1.1.5.0", Value: text("nq-room")},
		{OID: enterprise + ".1.1.0", Value: model.Value{Kind: model.Integer, Int: -325}},
		{OID: enterprise + ".1.2.0", Value: model.Value{Kind: model.Unsigned, Uint: 4294967295}},
		{OID: enterprise + ".1.3.0", Value: model.Value{Kind: model.Float, Float: -3.25}},
		{OID: enterprise + ".1.4.0", Value: model.Value{Kind: model.Unsigned, Uint: 1 << 40}},
		{OID: enterprise + ".1.5.0", Value: model.Value{}},
		{OID: enterprise + ".1.6.0", Value: model.Value{Kind: model.Null}},
	}}
	for i := range 24 {
		b.objects = append(b.objects, plant.Object{OID: fmt.Sprintf("%s.2.1.%d", enterprise, 120+i), Value: model.Value{Kind: model.Integer, Int: int64(i) - 12}})
	}
	return b
}

func users() []agent.User {
	pass, priv := collector.NewSecret(password), collector.NewSecret(secret)
	return []agent.User{
		{Name: "open"},
		{Name: "signed", Auth: "sha256", AuthPassword: pass},
		{Name: "sealed", Auth: "sha256", AuthPassword: pass, Privacy: "aes128", PrivacyPassword: priv},
		{Name: "old", Auth: "md5", AuthPassword: pass, Privacy: "aes128", PrivacyPassword: priv},
	}
}

func config(source agent.Source, units ...string) agent.Config {
	return agent.Config{Source: source, Units: units, Listen: netip.MustParseAddrPort("127.0.0.1:0"),
		Communities: []collector.Secret{collector.NewSecret(community)}, Users: users()}
}

// start runs the agents of c until the test ends.
func start(t testing.TB, c agent.Config) *agent.Agents {
	t.Helper()
	a, err := agent.New(c, zaptest.NewLogger(t))
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-done)
	})
	return a
}
