package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"
)

// labelled gives every answer of the API to GET a tag made from its bytes, and
// answers 304 to whoever has them already (RFC 9110 13.1.2). The tag of an
// alarm begins with its version, which is what If-Match goes by.
func labelled(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == streamPath {
			next.ServeHTTP(w, r)
			return
		}
		kept := &keptAnswer{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(kept, r)
		kept.send(r)
	})
}

// keptAnswer holds an answer back until it is known whole.
type keptAnswer struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
}

// WriteHeader keeps the status.
func (k *keptAnswer) WriteHeader(status int) { k.status = status }

// Write keeps a part of the body.
func (k *keptAnswer) Write(b []byte) (int, error) { return k.body.Write(b) }

func (k *keptAnswer) send(r *http.Request) {
	h, get := k.Header(), r.Method == http.MethodGet
	if own := h.Get("ETag"); k.status == http.StatusOK && (get || own != "") {
		tag := labelOf(own, k.body.Bytes())
		h.Set("ETag", tag)
		if get && tagsHold(r.Header.Get("If-None-Match"), func(t string) bool { return strings.TrimPrefix(t, "W/") == tag }) {
			h.Del("Content-Type")
			k.ResponseWriter.WriteHeader(http.StatusNotModified)
			return
		}
	}
	k.ResponseWriter.WriteHeader(k.status)
	_, _ = k.body.WriteTo(k.ResponseWriter)
}

// labelOf makes the tag of an answer; own is that of its handler, or empty.
func labelOf(own string, body []byte) string {
	sum := sha256.Sum256(body)
	label := hex.EncodeToString(sum[:8])
	if version := strings.Trim(own, `"`); version != "" {
		label = version + "-" + label
	}
	return `"` + label + `"`
}

// tagsHold tells whether one of the tags of a condition fits, or the condition
// is that there is anything at all. Our tags hold no comma.
func tagsHold(header string, fits func(string) bool) bool {
	for tag := range strings.SplitSeq(header, ",") {
		if tag = strings.TrimSpace(tag); tag == "*" || tag != "" && fits(tag) {
			return true
		}
	}
	return false
}

// versionIn reads the version from the tag of an alarm. A weak tag has none:
// If-Match compares strongly (RFC 9110 13.1.1).
func versionIn(tag string) (uint64, bool) {
	inner, ok := strings.CutPrefix(tag, `"`)
	inner, ok2 := strings.CutSuffix(inner, `"`)
	digits, _, _ := strings.Cut(inner, "-")
	v, err := strconv.ParseUint(digits, 10, 64)
	return v, ok && ok2 && err == nil && v != 0
}
