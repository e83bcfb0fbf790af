package document_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/document"
)

type plant struct {
	Name  string            `yaml:"name,required"`
	Sites []site            `yaml:"sites"`
	Notes map[string]string `yaml:"notes"`
	Codes map[int]string    `yaml:"codes"`
	Loss  *float64          `yaml:"loss"`
	Poll  document.Duration `yaml:"poll"`
	common
	Hidden string
}

type common struct {
	Debug bool `yaml:"debug"`
	Port  uint16
}

type site struct {
	ID    string            `yaml:"id,required"`
	Units int               `yaml:"units"`
	Wait  document.Duration `yaml:"wait"`
}


func TestDecode(t *testing.T) {
	f, faults := document.Parse("plant.yaml", []byte(`
name: 0123
debug: true
poll: 1h30m
loss: -1.5
codes: {1: good, 0x10: "on", 3: off, 4: no}
sites:
  - &first {id: a, units: 3}
  - *first
  - id: b
    wait: 20m
`))
	require.Empty(t, faults)
	var p plant
	require.Empty(t, f.Decode(&p))
	require.Equal(t, "0123", p.Name)
	require.Equal(t, -1.5, *p.Loss)
	require.Equal(t, map[int]string{1: "good", 16: "on", 3: "off", 4: "no"}, p.Codes)
	require.True(t, p.Debug)
	require.Equal(t, []site{{"a", 3, 0}, {"a", 3, 0}, {"b", 0, document.Duration(20 * time.Minute)}}, p.Sites)
}

