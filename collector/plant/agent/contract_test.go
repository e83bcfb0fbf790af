package agent_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/plant"
	"lightwell/collector/probertest"
)

// The SNMP client keeps the contract of a Prober against simulated units, as
// the plant's own prober does.
func TestProberContract(t *testing.T) {
	p, models, fleet := realPlant(t)
	units := startPlant(t, p, fleet)
	for _, f := range []plant.Fault{
		{Kind: "fibre-open", Link: "roof-0", Direction: "both"},
		{Kind: "management-lost", Unit: indoors[1]},
	} {
		_, err := p.Inject(f, p.Start().Add(-time.Hour))
		require.NoError(t, err)
	}
	for i := range units {
		units[i].Credentials = "priv"
	}
	cases := probertest.Units{Dark: units[0], Good: units[7], Silent: units[3], Refuses: units[5]}
	cases.Refuses.Credentials = "wrong user"
	probertest.Run(t, newClient(t, models, 300*time.Millisecond), cases)
}
