package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

const (
	// Timeout bounds one attempt from connecting to the end of the answer.
	Timeout = 20 * time.Second
	// maxAnswer is how much of an answer is read, so that the connection can
	// be used again.
	maxAnswer = 64 << 10
	// maxReason is how much of a refusing answer is kept for the operator.
	maxReason = 160
)

// ErrAddress is wrapped by the error of an attempt whose host resolved to an
// address that webhooks must not go to.
var ErrAddress = errors.New("address is refused")

// forbidden are address ranges that no receiver has: this-network, link-local
// (RFC 3927, RFC 4291), multicast, broadcast, and the metadata addresses of
// hosting providers outside link-local space, which hand out credentials
// (common knowledge, from memory).
var forbidden = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),
	netip.MustParsePrefix("169.254.0.0/16"),
	netip.MustParsePrefix("224.0.0.0/4"),
	netip.MustParsePrefix("255.255.255.255/32"),
	netip.MustParsePrefix("100.100.100.200/32"),
	netip.MustParsePrefix("168.63.129.16/32"),
	netip.MustParsePrefix("192.0.0.192/32"),
	netip.MustParsePrefix("::/128"),
	netip.MustParsePrefix("fe80::/10"),
	netip.MustParsePrefix("ff00::/8"),
	netip.MustParsePrefix("fd00:ec2::254/128"),
	netip.MustParsePrefix("fd20:ce::254/128"),
}

// nat64 is the well-known prefix of RFC 6052: the last four bytes are an IPv4
// address.
var nat64 = netip.MustParsePrefix("64:ff9b::/96")

// Refused tells whether webhooks may not be sent to an address.
func Refused(ip netip.Addr) bool {
	ip = ip.Unmap().WithZone("")
	if nat64.Contains(ip) {
		b := ip.As16()
		ip = netip.AddrFrom4([4]byte(b[12:]))
	}
	return !ip.IsValid() || slices.ContainsFunc(forbidden, func(p netip.Prefix) bool { return p.Contains(ip) })
}

// newTransport makes connections of one endpoint only. The address check sits
// where the connection is made, so that a name that resolves anew between
// check and use gains nothing.
func newTransport(e Endpoint, roots *x509.CertPool) *http.Transport {
	d := &net.Dialer{Timeout: Timeout / 2}
	if u, err := url.Parse(e.URL.Reveal()); err != nil || !slices.Contains(e.Allow, u.Hostname()) {
		d.Control = checkAddress
	}
	return &http.Transport{
		DialContext:            d.DialContext,
		TLSClientConfig:        &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12},
		TLSHandshakeTimeout:    Timeout / 2,
		MaxResponseHeaderBytes: 64 << 10,
		MaxConnsPerHost:        parallel + 1, // and the heartbeat
		MaxIdleConnsPerHost:    parallel + 1,
		IdleConnTimeout:        90 * time.Second,
		ForceAttemptHTTP2:      true,
	}
}

func checkAddress(_, address string, _ syscall.RawConn) error {
	ap, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("%w: %s is not understood", ErrAddress, address)
	}
	if Refused(ap.Addr()) {
		return fmt.Errorf("%w: %s is link-local, multicast, unspecified or a metadata service; to send there, name the host under allow", ErrAddress, ap.Addr())
	}
	return nil
}

func newClient(rt http.RoundTripper) *http.Client {
	return &http.Client{
		Transport:     rt,
		Timeout:       Timeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// verdict is what became of one attempt.
type verdict struct {
	outcome   outcome
	reason    string    // empty when delivered
	notBefore time.Time // as the receiver asked; zero: it did not
	throttle  bool      // the whole endpoint is to be left alone for a while
}

type outcome uint8

const (
	delivered outcome = iota
	failed            // try again
	refused           // final
	gone              // the endpoint wants no more
)

// attempt sends one message once.
func (s *sender) attempt(ctx context.Context, m *Entry) verdict {
	now := time.Now()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.endpoint.URL.Reveal(), bytes.NewReader(m.Body))
	if err != nil {
		return verdict{outcome: refused, reason: "address is not valid"}
	}
	req.Header.Set("Content-Type", m.ContentType)
	req.Header.Set("User-Agent", "lightwell")
	req.Header.Set(standardwebhooks.HeaderWebhookID, m.ID)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	signature, err := s.signer.Sign(m.ID, now, m.Body)
	if err != nil {
		return verdict{outcome: refused, reason: err.Error()}
	}
	if signature != "" {
		req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)
	}
	resp, err := s.client.Do(req)
	if err != nil {
		return verdict{outcome: failed, reason: plainReason(err)}
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	return judge(resp.StatusCode, resp.Header.Get("Retry-After"), text, time.Now())
}

// judge reads an answer: 2xx is success; 410 ends the endpoint; any other 4xx
// but 408 and 429 is final; all else may pass.
func judge(status int, retryAfter string, text []byte, now time.Time) verdict {
	if status >= 200 && status < 300 {
		return verdict{outcome: delivered}
	}
	v := verdict{outcome: failed, reason: answerReason(status, text)}
	v.notBefore, _ = ParseRetryAfter(retryAfter, now)
	switch {
	case status == http.StatusGone:
		v.outcome = gone
	case status == http.StatusTooManyRequests, status >= 502 && status <= 504:
		v.throttle = true
	case status >= 400 && status < 500 && status != http.StatusRequestTimeout:
		v.outcome = refused
	}
	return v
}

func answerReason(status int, text []byte) string {
	reason := strings.TrimSpace(fmt.Sprintf("answered %d %s", status, http.StatusText(status)))
	if status >= 300 && status < 400 {
		return reason + " (redirects are not followed)"
	}
	said := strings.Join(strings.FieldsFunc(string(text[:min(len(text), 4*maxReason)]), func(r rune) bool {
		return r < '!' || r == 0x7f || r == '\uFFFD'
	}), " ")
	if said != "" {
		reason += ": " + cut(said, maxReason)
	}
	return reason
}

// plainReason drops the address from an error: its path may be a token.
func plainReason(err error) string {
	if u, ok := errors.AsType[*url.Error](err); ok {
		if u.Timeout() {
			return "no answer in time"
		}
		err = u.Err
	}
	return err.Error()
}
