package notify

import (
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// Mode says which changes of an alarm an endpoint hears of: the notify modes
// of RFC 8632. Clearing is told in every mode.
type Mode = alarms.NotifyMode

// Modes.
const (
	AllStateChanges = alarms.NotifyAllStateChanges
	RaiseAndClear   = alarms.NotifyRaiseAndClear
	SeverityLevel   = alarms.NotifySeverityLevel
)

// Shortest intervals of the repeating messages.
const (
	MinRepeat    = time.Minute
	MinHeartbeat = 10 * time.Second
)

// Endpoint is one receiver of webhooks, as the configuration describes it.
type Endpoint struct {
	Name string // unique
	// URL may hold a token in its path, hence the type. It must be https,
	// unless the host is this machine or Insecure is set.
	URL      collector.Secret
	Insecure bool
	// Secrets sign: whsec_ or whsk_. Two during a rotation. May be empty only
	// with a Body of one's own, because chat systems verify nothing.
	Secrets []collector.Secret
	// Mode: empty means severity-level where Severity is set, else all.
	Mode Mode
	// Severity is the level of mode severity-level and belongs to it alone.
	Severity alarms.Severity
	Types    []string // alarm types; empty: all
	Sites    []string // ids; empty: all. Alarms without a site go to all.
	// OperatorActions asks for acknowledgements, closings and comments too.
	OperatorActions bool
	Repeat          time.Duration // interval of reminders until acknowledged; zero: none
	Heartbeat       time.Duration // interval of heartbeat events; zero: none
	// Body is a text/template run on Message; empty: CloudEvents.
	Body        string
	ContentType string   // of Body; empty: application/json
	Allow       []string // host names that may resolve to refused addresses
}

// A Problem is one thing wrong with an endpoint; Field is its name in the
// configuration file.
type Problem struct {
	Field  string
	What   string
	Remedy string
}

// Problems returns everything that is wrong with the endpoint, by itself. It
// quotes no secret.
func (e Endpoint) Problems() []Problem {
	var out []Problem
	fault := func(field, remedy, what string, args ...any) {
		out = append(out, Problem{field, fmt.Sprintf(what, args...), remedy})
	}
	if e.Name == "" {
		fault("name", "give it a name", "is missing")
	}
	if what, remedy := e.urlProblem(); what != "" {
		fault("url", remedy, "%s", what)
	}
	if len(e.Secrets) == 0 && e.Body == "" {
		fault("secrets", "give a whsec_ or whsk_ secret", "are missing: a receiver could not tell our messages from forged ones")
	}
	if _, err := NewSigner(e.Secrets); err != nil {
		fault("secrets", "whsec_ and 24 to 64 bytes in base64, or whsk_ and an ed25519 private key", "%v", err)
	}
	e.modeProblems(fault)
	if e.Repeat != 0 && e.Repeat < MinRepeat {
		fault("repeat", fmt.Sprintf("use %s or more", MinRepeat), "%s is too short", e.Repeat)
	}
	if e.Heartbeat != 0 && e.Heartbeat < MinHeartbeat {
		fault("heartbeat", fmt.Sprintf("use %s or more", MinHeartbeat), "%s is too short", e.Heartbeat)
	}
	if e.ContentType != "" && e.Body == "" {
		fault("content_type", "remove it, or give a body", "has no meaning without a body template")
	}
	if strings.ContainsFunc(e.ContentType, func(r rune) bool { return r < ' ' || r > '~' }) {
		fault("content_type", "use a media type such as application/json", "%q is not a media type", e.ContentType)
	}
	if _, err := e.template(); err != nil {
		fault("body", "correct the template", "%v", err)
	}
	return out
}

func (e Endpoint) modeProblems(fault func(field, remedy, what string, args ...any)) {
	switch e.Mode {
	case "", SeverityLevel, AllStateChanges, RaiseAndClear:
	default:
		fault("mode", fmt.Sprintf("use %s, %s or %s", AllStateChanges, RaiseAndClear, SeverityLevel), "%q is unknown", e.Mode)
		return
	}
	switch {
	case e.Mode == SeverityLevel && e.Severity == 0:
		fault("severity", "give one", "is missing: mode %s needs it", e.Mode)
	case e.Severity != 0 && e.mode() != SeverityLevel:
		fault("severity", fmt.Sprintf("leave one of the two out, or use mode %s", SeverityLevel), "has no meaning with mode %s", e.Mode)
	case e.Severity == alarms.Cleared || e.Severity > alarms.Critical:
		fault("severity", "use warning, minor, major or critical", "%s is no level", e.Severity)
	}
}

// Validate returns all Problems as one error, nil when there is none.
func (e Endpoint) Validate() error {
	var errs []error
	for _, p := range e.Problems() {
		errs = append(errs, fmt.Errorf("endpoint %q: %s %s; %s", e.Name, p.Field, p.What, p.Remedy))
	}
	return errors.Join(errs...)
}

func (e Endpoint) urlProblem() (what, remedy string) {
	const use = "use https://host/path"
	if e.URL.Empty() {
		return "is missing", use
	}
	u, err := url.Parse(e.URL.Reveal())
	switch {
	case err != nil: // the error would quote the address
		return "is not an address", use
	case u.Hostname() == "":
		return "has no host", use
	case u.Scheme == "https":
		return "", ""
	case u.Scheme != "http":
		return fmt.Sprintf("has scheme %q", u.Scheme), use
	case !e.Insecure && !isLoopback(u.Hostname()):
		return "is not encrypted", "use https, or set insecure to send alarms in the clear"
	}
	return "", ""
}

func isLoopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

func (e Endpoint) mode() Mode {
	switch {
	case e.Mode != "":
		return e.Mode
	case e.Severity != 0:
		return SeverityLevel
	}
	return AllStateChanges
}

// concerns tells whether the alarm passes the filters by type and site.
func (e Endpoint) concerns(a *alarms.Alarm) bool {
	return (len(e.Types) == 0 || slices.Contains(e.Types, a.Type)) &&
		(len(e.Sites) == 0 || a.Site == "" || slices.Contains(e.Sites, a.Site))
}

// Wants tells whether a change is to be sent to this endpoint.
func (e Endpoint) Wants(c *alarms.Change) bool {
	if !c.Notify || !e.concerns(&c.Alarm) {
		return false
	}
	switch c.Kind {
	case alarms.Acknowledged, alarms.Closed, alarms.Reopened, alarms.Commented, alarms.UnshelvedChange:
		return e.OperatorActions && e.reached(&c.Alarm)
	}
	return e.mode().Sends(e.Severity, *c)
}

// reminds tells whether the alarm, as it stands, is to be repeated.
func (e Endpoint) reminds(a *alarms.Alarm) bool {
	return e.Repeat > 0 && a.Announced && !a.Cleared && a.Hold == (alarms.Hold{}) && !a.Shelved() &&
		(a.Operator == alarms.OperatorNone || a.Operator == alarms.UnShelved) && e.concerns(a) && e.reached(a)
}

func (e Endpoint) reached(a *alarms.Alarm) bool {
	return e.mode() != SeverityLevel || a.Severity >= e.Severity
}
