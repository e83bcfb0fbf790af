package metrics

var (
	reloadGood = gauge("config_last_reload_successful", "1 if the last loading of configuration and fleet succeeded, 0 if it was refused and the one before is in force.")
	reloadTime = gauge("config_last_reload_success_timestamp_seconds", "When configuration and fleet were last loaded with success, in seconds since 1970.")
)

func reloadFamilies() []*family {
	return []*family{reloadGood, reloadTime}
}

func (m *Metrics) fillReload(out *sheet) {
	m.mu.Lock()
	ok, at := m.reloadOK, m.reloaded
	m.mu.Unlock()
	out.put(reloadGood, number(ok))
	out.putTime(reloadTime, at)
}
