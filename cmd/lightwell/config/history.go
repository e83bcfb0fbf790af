package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/history"
	"lightwell/collector/history/remote"
)

// History says which readings are kept, and where they go besides.
type History struct {
	Off   bool             // nothing is kept here
	Local history.Config   // its folder is history, in Data
	Read  *remote.Endpoint // questions go there, not to the local history; nil: to the local one
	Send  []remote.Endpoint
}

type fileHistory struct {
	Off        bool        `yaml:"off"`
	Raw        *span       `yaml:"raw"`
	Hourly     *span       `yaml:"hourly"`
	RawSize    *size       `yaml:"raw_size"`
	HourlySize *size       `yaml:"hourly_size"`
	DiskStop   *float64    `yaml:"disk_stop"`
	Read       *fileRemote `yaml:"read"`
}

// fileRemote is how another database is reached.
type fileRemote struct {
	URL       string     `yaml:"url"`
	URLSecret *secretRef `yaml:"url_secret"`
	Insecure  bool       `yaml:"insecure"`
	Token     *secretRef `yaml:"token"`
	User      string     `yaml:"user"`
	Password  *secretRef `yaml:"password"`
}

type fileRemoteWrite struct {
	Name       string `yaml:"name,required"`
	Protocol   string `yaml:"protocol"`
	Size       *size  `yaml:"size"`
	fileRemote `yaml:",inline"`
}

// span is a duration that may be in days or years: 35d, 3y, 12h.
type span time.Duration

// UnmarshalText implements encoding.TextUnmarshaler.
func (s *span) UnmarshalText(b []byte) error {
	text := string(b)
	for unit, length := range map[string]time.Duration{"d": 24 * time.Hour, "y": 365 * 24 * time.Hour} {
		if number, ok := strings.CutSuffix(text, unit); ok {
			if n, err := strconv.ParseUint(number, 10, 16); err == nil && n <= uint64(math.MaxInt64/length) {
				*s = span(time.Duration(n) * length)
				return nil
			}
		}
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		return document.Fault{What: fmt.Sprintf("%q is not a span of time", b), Remedy: "write a number with its unit, like 35d, 3y or 12h"}
	}
	*s = span(d)
	return nil
}

// size is a number of bytes: 20GB, 512MB.
type size int64

// UnmarshalText implements encoding.TextUnmarshaler.
func (s *size) UnmarshalText(b []byte) error {
	for unit, length := range map[string]int64{"MB": 1e6, "GB": 1e9, "TB": 1e12} {
		if number, ok := strings.CutSuffix(string(b), unit); ok {
			if n, err := strconv.ParseUint(strings.TrimSpace(number), 10, 20); err == nil {
				*s = size(int64(n) * length)
				return nil
			}
		}
	}
	return document.Fault{What: fmt.Sprintf("%q is not a size", b), Remedy: "write a whole number with MB, GB or TB, like 20GB"}
}

func (l *loader) history(f *fileHistory) {
	h := &l.cfg.History
	h.Off = f.Off
	given(&h.Local.RawAge, (*time.Duration)(f.Raw))
	given(&h.Local.HourlyAge, (*time.Duration)(f.Hourly))
	given(&h.Local.RawSize, (*int64)(f.RawSize))
	given(&h.Local.HourlySize, (*int64)(f.HourlySize))
	given(&h.Local.DiskStop, f.DiskStop)
	l.each("$.history", h.Local.Validate())
	if f.Read != nil {
		e := remote.Endpoint{}
		if l.remote(&e, f.Read, "$.history.read") {
			if r, err := remote.NewReader(e); err != nil {
				l.fault("$.history.read", "", "%v", err)
			} else {
				r.Close()
			}
		}
		h.Read = &e
	}
}

func (l *loader) remoteWrite(i int, f *fileRemoteWrite) {
	at := fmt.Sprintf("$.remote_write[%d]", i)
	e := remote.Endpoint{Name: f.Name, Protocol: remote.Protocol1, MaxBytes: remote.DefaultMaxBytes}
	set(&e.Protocol, f.Protocol)
	given(&e.MaxBytes, (*int64)(f.Size))
	if l.remote(&e, &f.fileRemote, at) {
		l.each(at, e.Validate())
	}
	for _, other := range l.cfg.History.Send {
		if other.Name == e.Name {
			l.fault(at+".name", "the queue on disk has this name: choose another", "remote write %q is there twice", e.Name)
		}
	}
	l.cfg.History.Send = append(l.cfg.History.Send, e)
}

// remote reads how to reach another database, and reports whether its
// secrets could be read.
func (l *loader) remote(e *remote.Endpoint, f *fileRemote, at string) bool {
	before := len(l.faults)
	e.URL, e.Insecure, e.User = collector.NewSecret(f.URL), f.Insecure, f.User
	if f.URLSecret != nil {
		if e.URL = l.secret(f.URLSecret, at+".url_secret"); f.URL != "" {
			l.fault(at+".url", "keep one of the two", "url and url_secret are both given")
		}
	}
	e.Token = l.secret(f.Token, at+".token")
	e.Password = l.secret(f.Password, at+".password")
	return len(l.faults) == before
}
