package config

import "reflect"

// atStart are the keys that take effect at the next start only, and what they
// set. A group stands for all keys in it.
var atStart = []struct {
	key string
	of  func(*Config) any
}{
	{"listen", func(c *Config) any { return c.Listen }},
	{"hosts", func(c *Config) any { return c.Hosts }},
	{"web_config", func(c *Config) any { return c.WebConfig }},
	{"traps", func(c *Config) any { return c.Traps }},
	{"data", func(c *Config) any { return c.Data }},
	{"state", func(c *Config) any { return c.Postgres }},
	{"log_level", func(c *Config) any { return c.LogLevel }},
	{"metrics_open", func(c *Config) any { return c.MetricsOpen }},
	{"snmp.per_site", func(c *Config) any { return c.PerSite }},
	{"commissioning", func(c *Config) any { return c.Commissioning }},
	{"history", func(c *Config) any { h := c.History; h.Send = nil; return h }},
	{"remote_write", func(c *Config) any { return c.History.Send }},
	{"retention", func(c *Config) any { return c.Retention }},
	{"backup", func(c *Config) any { return c.Backup }},
}

// NeedRestart returns the keys, or groups of keys, in which c differs from
// running and that a reload does not put in force. Secrets are compared and
// not told.
func (c Config) NeedRestart(running Config) (keys []string) {
	for _, k := range atStart {
		if was, is := k.of(&running), k.of(&c); !reflect.DeepEqual(was, is) {
			keys = append(keys, k.key)
		}
	}
	return keys
}

// RestartKeys returns all keys and groups that NeedRestart knows.
func RestartKeys() (keys []string) {
	for _, k := range atStart {
		keys = append(keys, k.key)
	}
	return keys
}
