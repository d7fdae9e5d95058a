package server_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
	"centwise/cmd/centwise/wire"
)

// Wherever somebody puts a token, right or wrong, it gets neither into the log nor
// into an answer.
func TestTokensInOddPlaces(t *testing.T) {
	r := start(t, newStore(t), nil)
	servertest.Band(t, r.Store, 1)
	secret := r.Token("reed-otter", catalog.ScopeContribute, nil)
	text := secret.Reveal()
	encoded := base64.StdEncoding.EncodeToString([]byte(text + ":" + text))
	var answers strings.Builder
	for _, path := range []string{wire.StatusPath, wire.RecordsPath, "/horns", "/nothing", wire.HealthPath} {
		for _, tc := range []struct {
			path   string
			header []string
		}{
			{path + "?token=" + text, nil}, {path + "/" + text, nil}, {path + "?after=" + text + "&position=" + text + "&page=" + text, bearer(secret)},
			{path, []string{"Authorization", text}}, {path, []string{"Authorization", "Basic " + encoded, "Accept", "text/html"}},
			{path, []string{"Cookie", "token=" + text, "User-Agent", text, "Referer", "http://localhost/?" + text, "X-Forwarded-For", text}},
			{path, []string{"Host", text}}, {path, []string{"If-None-Match", text, "Accept", "text/html," + text}},
			{path, []string{"Authorization", "Bearer " + text + "x"}},
		} {
			for _, method := range []string{"GET", "POST", "PUT"} {
				r.Pass(time.Minute)
				answer, body := r.ask(method, tc.path, nil, tc.header...)
				fmt.Fprintln(&answers, answer.Header, string(body))
			}
		}
	}
	// And in a bundle, whose text errors quote.
	answer, body := r.post(secret, []byte(text))
	fmt.Fprintln(&answers, answer.Header, string(body))
	for what, where := range map[string]string{"log": r.Journal.String(), "answers": answers.String()} {
		for _, form := range []string{text[9:40], encoded[20:60]} {
			if i := strings.Index(where, form); i >= 0 {
				t.Errorf("a token is in the %s: %.300s", what, where[max(0, i-200):])
			}
		}
	}
}

// The log itself hides what looks like a token, should anything ever put one there.
func TestLogHidesTokens(t *testing.T) {
	var b bytes.Buffer
	log := server.NewLog(&b)
	text := catalog.NewSecret().Reveal()
	log.Info("token "+text, "a", text, "b", fmt.Errorf("refused %s", text), "c", "x "+text+" y")
	log.With("d", text).WithGroup("g").Warn("x", "e", text)
	if strings.Contains(b.String(), text[9:30]) {
		t.Errorf("%s", &b)
	}
}

// A request that somebody took down and sends again changes nothing, and after the
// token is revoked does nothing.
func TestReplayedRequest(t *testing.T) {
	r := start(t, newStore(t), nil)
	from := newStore(t)
	servertest.Band(t, from, 4)
	secret := r.Token("reed-otter", catalog.ScopeContribute, nil)
	bundle := servertest.Bundle(t, from, servertest.Everything)
	first := r.receipt(r.post(secret, bundle))
	before := servertest.Records(t, servertest.Bundle(t, r.Store, servertest.Everything))
	for range 3 {
		again := r.receipt(r.post(secret, bundle))
		if again.Position != first.Position || (again.New != wire.Counts{}) {
			t.Errorf("%+v", again)
		}
	}
	token := must(r.Store.TokenOf(ctx, secret.Hash()))(t)
	if err := r.Store.RevokeTokens(ctx, time.Now(), token.ID); err != nil {
		t.Fatal(err)
	}
	answer, body := r.post(secret, bundle)
	r.problem(answer, body, 401, "bad-token")
	if after := servertest.Records(t, servertest.Bundle(t, r.Store, servertest.Everything)); len(after) != len(before) {
		t.Error("the pool changed")
	}
}

// Whatever the parameters and headers of a request are, the answer is one of ours:
// whole, harmless, and no defect.
func FuzzRequests(f *testing.F) {
	store := newStore(f)
	servertest.Band(f, store, 2)
	secret := catalog.NewSecret()
	if err := store.AddToken(ctx, catalog.Token{ID: catalog.NewID(), Contributor: "reed-otter", Scope: catalog.ScopeCurate, Hash: secret.Hash(), Created: time.Now()}); err != nil {
		f.Fatal(err)
	}
	s := server.New(store, server.Config{BehindProxy: true, PublicPages: true, Rate: 1e9, Log: server.NewLog(io.Discard), Now: time.Now, Grace: time.Second})
	if err := s.Gather(ctx); err != nil {
		f.Fatal(err)
	}
	h := s.Handler()
	for _, seed := range []struct{ method, path, query, from, tag string }{
		{"GET", "/v1/records", "after=1.ab.2.x", "192.0.2.1", `"x"`}, {"GET", "/v1/status", "position=0&position=x", "::1, x", "*"}, {"GET", "/horns", "page=2&q=%00", "", ""},
		{"POST", "/v1/records", "", "", ""}, {"GET", "/horns/x/rank", "page=-1", "a,b,c", "W/"}, {"HEAD", "/health", "%zz", "\xff", "\n"}, {"GET", "//horns", "q=" + strings.Repeat("é", 300), "", ""},
	} {
		f.Add(seed.method, seed.path, seed.query, seed.from, seed.tag, []byte("x"))
	}
	f.Fuzz(func(t *testing.T, method, path, query, from, tag string, body []byte) {
		r := httptest.NewRequest("GET", "/", bytes.NewReader(body))
		r.Method, r.URL.Path, r.URL.RawQuery = method, "/"+strings.TrimPrefix(path, "/"), query
		r.Header = http.Header{"X-Forwarded-For": {from}, "If-None-Match": {tag}, "Authorization": {"Bearer " + secret.Reveal()}, "Content-Type": {wire.BundleType}, "Accept": {"text/html"}}
		w := &deadlines{httptest.NewRecorder()}
		h.ServeHTTP(w, r)
		if w.Code >= 500 && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%s %q?%q: status %d", method, path, query, w.Code)
		}
		if w.Header().Get("X-Content-Type-Options") != "nosniff" && w.Code < 300 {
			t.Errorf("no headers: %v", w.Header())
		}
		if strings.Contains(w.Body.String(), secret.Reveal()[9:]) {
			t.Error("the token is in the answer")
		}
	})
}

// deadlines is a recorder that a handler may set deadlines of.
type deadlines struct{ *httptest.ResponseRecorder }

func (deadlines) SetReadDeadline(time.Time) error  { return nil }
func (deadlines) SetWriteDeadline(time.Time) error { return nil }
