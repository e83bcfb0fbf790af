package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"lightwell/cmd/exit"
)

// reach tells where a running daemon is, and how to know that it is the one.
type reach struct {
	Server  string `default:"http://${listen}" env:"LIGHTWELL_SERVER" help:"Address of the running daemon." placeholder:"URL"`
	CA      string `name:"ca" env:"LIGHTWELL_CA" help:"File with the certificates that may vouch for an https server; without it those of this machine." placeholder:"FILE"`
	TLSName string `name:"tls-name" env:"LIGHTWELL_TLS_NAME" help:"Name that the server's certificate must have, when it is not that in the address." placeholder:"NAME"`
}

// serverFlags tell how to reach a running daemon.
type serverFlags struct {
	reach
	TokenFile string `env:"LIGHTWELL_TOKEN_FILE" help:"File that holds the access token." placeholder:"FILE"`
	Token     string `env:"LIGHTWELL_TOKEN" hidden:"" help:"Access token; from the environment only."`
}

// client talks to the API of a running daemon.
type client struct {
	base  *url.URL
	token string
	http  *http.Client
}

// maxAnswer bounds what is read of an answer.
const maxAnswer = 64 << 20

func (f serverFlags) client() (*client, error) {
	base, err := url.Parse(strings.TrimRight(f.Server, "/"))
	if err != nil || base.Host == "" {
		return nil, exit.Usage(fmt.Errorf("server %q is not an address: write http://host:port", f.Server))
	}
	token := f.Token
	if f.TokenFile != "" {
		data, err := os.ReadFile(f.TokenFile)
		if err != nil {
			return nil, exit.Usage(fmt.Errorf("read token: %w", err))
		}
		token = strings.TrimSpace(string(data))
	}
	transport, err := f.transport()
	if err != nil {
		return nil, exit.Usage(err)
	}
	return &client{base: base, token: token, http: &http.Client{Timeout: 30 * time.Second, Transport: transport}}, nil
}

// transport returns one that trusts whom the flags say.
func (r reach) transport() (http.RoundTripper, error) {
	if r.CA == "" && r.TLSName == "" {
		return http.DefaultTransport, nil
	}
	out := http.DefaultTransport.(*http.Transport).Clone()
	out.TLSClientConfig = &tls.Config{ServerName: r.TLSName, MinVersion: tls.VersionTLS12}
	if r.CA == "" {
		return out, nil
	}
	data, err := os.ReadFile(r.CA)
	if err != nil {
		return nil, fmt.Errorf("read certificates: %w", err)
	}
	out.TLSClientConfig.RootCAs = x509.NewCertPool()
	if !out.TLSClientConfig.RootCAs.AppendCertsFromPEM(data) {
		return nil, fmt.Errorf("read certificates: %s holds none in PEM form", r.CA)
	}
	return out, nil
}

// problem is the part of an RFC 9457 problem that a person reads.
type problem struct {
	Status int    `json:"status"`
	Title  string `json:"title"`
	Detail string `json:"detail"`
	Errors []struct {
		Message  string `json:"message"`
		Location string `json:"location"`
	} `json:"errors"`
}

func (p problem) Error() string {
	text := p.Detail
	if text == "" {
		text = p.Title
	}
	for _, e := range p.Errors {
		text += "\n" + strings.TrimSpace(e.Location+" "+e.Message)
	}
	return text
}

// call sends body, when it is not nil, and fills into, when it is not nil,
// from the answer.
func (c *client) call(ctx context.Context, method, path string, query url.Values, body, into any) error {
	var reader io.Reader
	if body != nil {
		data, err := json.Marshal(body)
		if err != nil {
			return err
		}
		reader = bytes.NewReader(data)
	}
	at := c.base.JoinPath("api", "v1", path)
	at.RawQuery = query.Encode()
	req, err := http.NewRequestWithContext(ctx, method, at.String(), reader)
	if err != nil {
		return err
	}
	req.Header.Set("Accept", "application/json")
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	c.sign(req)
	return c.answer(req, into)
}

// fetch reads an answer as it is.
func (c *client) fetch(ctx context.Context, path string, query url.Values) ([]byte, error) {
	at := c.base.JoinPath("api", "v1", path)
	at.RawQuery = query.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, at.String(), nil)
	if err != nil {
		return nil, err
	}
	c.sign(req)
	return c.read(req)
}

// sign gives a request the access token.
func (c *client) sign(req *http.Request) {
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
}

func (c *client) answer(req *http.Request, into any) error {
	data, err := c.read(req)
	if err != nil || into == nil {
		return err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("answer of %s is not what was expected: %w", c.base.Host, err)
	}
	return nil
}

func (c *client) read(req *http.Request) ([]byte, error) {
	resp, err := c.http.Do(req)
	if err != nil {
		return nil, exit.Hinted(unreachable(c.base, err), hint(err))
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("read answer of %s: %w", c.base.Host, err)
	}
	if resp.StatusCode >= 300 {
		return nil, refusal(resp.StatusCode, data)
	}
	return data, nil
}

// hint tells what to try when no answer came.
func hint(err error) string {
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	switch {
	case errors.As(err, &unknown):
		return "name the certificate that vouches for the server with --ca or LIGHTWELL_CA"
	case errors.As(err, &name):
		return "the certificate has another name: --tls-name says which it must have"
	case strings.Contains(err.Error(), "server gave HTTP response to HTTPS client"):
		return "the daemon has no TLS there: write http:// in --server"
	}
	return "is the daemon running there? --server names another address"
}

// unreachable keeps the reason and drops the rest of what net/http says.
func unreachable(base *url.URL, err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return fmt.Errorf("daemon at %s: %w", base.Host, err)
}

func refusal(status int, body []byte) error {
	p := problem{Status: status, Title: http.StatusText(status)}
	_ = json.Unmarshal(body, &p) // an answer without a problem has its status
	switch status {
	case http.StatusUnauthorized:
		return exit.Hinted(p, "give a token with --token-file or LIGHTWELL_TOKEN_FILE")
	case http.StatusForbidden:
		return exit.Hinted(p, "use a token whose role may do this")
	}
	return p
}

type healthCmd struct{ reach }

// Run asks a running daemon whether it is well; for container health checks.
func (h healthCmd) Run(s *streams) error {
	c, err := serverFlags{reach: h.reach}.client()
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(s.ctx, http.MethodGet, c.base.JoinPath("healthz").String(), nil)
	if err != nil {
		return err
	}
	return c.answer(req, nil)
}
