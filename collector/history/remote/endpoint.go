package remote

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"sync/atomic"
	"time"

	"lightwell/collector"
)

// Protocols of remote write.
const (
	Protocol1 = "1.0"
	Protocol2 = "2.0"
)

// An Endpoint is another database.
type Endpoint struct {
	Name     string // of the folder of its queue, too
	URL      collector.Secret
	Insecure bool // http to another machine is wanted
	Protocol string
	Token    collector.Secret // bearer token; empty: none
	User     string           // basic sign-in; empty: none
	Password collector.Secret
	MaxBytes int64 // bound of the queue on disk; then the oldest readings go
}

// DefaultMaxBytes holds some 35 million readings.
const DefaultMaxBytes = 1 << 30

var endpointName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// Validate returns all faults joined.
func (e Endpoint) Validate() error {
	var faults []error
	if !endpointName.MatchString(e.Name) {
		faults = append(faults, fmt.Errorf("name %q: use lower-case letters, digits and hyphens", e.Name))
	}
	if e.Protocol != Protocol1 && e.Protocol != Protocol2 {
		faults = append(faults, fmt.Errorf("protocol %q: use %q or %q", e.Protocol, Protocol1, Protocol2))
	}
	if e.MaxBytes < minBytes {
		faults = append(faults, fmt.Errorf("size %d is below %d bytes", e.MaxBytes, minBytes))
	}
	return errors.Join(append(faults, e.checkAccess())...)
}

// checkAccess checks what Sender and Reader both need.
func (e Endpoint) checkAccess() error {
	var faults []error
	u, err := url.Parse(e.URL.Reveal())
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		faults = append(faults, errors.New("url: use an address such as https://metrics.example.net/api/v1/write"))
	case u.User != nil:
		faults = append(faults, errors.New("url: give the user and the password apart from it"))
	case u.Scheme == "http" && !e.Insecure && !loopback(u.Hostname()):
		faults = append(faults, errors.New("url: http sends readings and sign-in in the clear; use https, or set insecure"))
	}
	if e.Token.Reveal() != "" && e.User != "" {
		faults = append(faults, errors.New("token and user are both given: keep one of the two"))
	}
	return errors.Join(faults...)
}

func loopback(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.Unmap().IsLoopback()
}

// timeout bounds one request from connecting to the end of the answer.
const timeout = 30 * time.Second

// maxAnswer bounds what is read of an answer to a write.
const maxAnswer = 64 << 10

// transport signs requests in and remembers how the last one was answered.
type transport struct {
	endpoint Endpoint
	base     *http.Transport
	most     int64 // bytes of an answer
	status   atomic.Int64
}

// newClient returns a client for one endpoint. It follows no redirect, which
// would take the sign-in elsewhere.
func newClient(e Endpoint, most int64) (*http.Client, *transport) {
	t := &transport{endpoint: e, most: most, base: &http.Transport{
		Proxy:               http.ProxyFromEnvironment,
		DialContext:         (&net.Dialer{Timeout: timeout / 3}).DialContext,
		TLSHandshakeTimeout: timeout / 3,
		ForceAttemptHTTP2:   true,
		IdleConnTimeout:     time.Minute,
	}}
	return &http.Client{Transport: t, Timeout: timeout, CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}, t
}

// RoundTrip implements http.RoundTripper.
func (t *transport) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	switch e := t.endpoint; {
	case e.Token.Reveal() != "":
		r.Header.Set("Authorization", "Bearer "+e.Token.Reveal())
	case e.User != "":
		r.SetBasicAuth(e.User, e.Password.Reveal())
	}
	r.Header.Set("User-Agent", "lightwell")
	t.status.Store(0)
	resp, err := t.base.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	t.status.Store(int64(resp.StatusCode))
	resp.Body = struct {
		io.Reader
		io.Closer
	}{io.LimitReader(resp.Body, t.most), resp.Body}
	return resp, nil
}
