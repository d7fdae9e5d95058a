package server_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
	"centwise/cmd/centwise/wire"
)

func TestHealth(t *testing.T) {
	r := start(t, newStore(t), nil)
	answer, body := r.ask("GET", wire.HealthPath, nil)
	if answer.StatusCode != 200 || string(body) != `{"status":"ok"}`+"\n" {
		t.Errorf("%d: %s", answer.StatusCode, body)
	}
	r.Store.Close()
	answer, body = r.ask("GET", wire.HealthPath, nil)
	p := r.problem(answer, body, 503, "not-now")
	if strings.Contains(string(body), "catalog.db") || p.Detail != "" {
		t.Errorf("the answer tells of the catalog: %s", body)
	}
	if !strings.Contains(r.Journal.String(), p.Request) || !strings.Contains(r.Journal.String(), "closed") {
		t.Errorf("the log does not say why: %s", r.Journal)
	}
}

// Every way in without a token that allows it is refused, and changes nothing.
func TestEndpointsAreClosed(t *testing.T) {
	r := start(t, newStore(t), nil)
	servertest.Band(t, r.Store, 2)
	past, soon := time.Now().Add(-time.Minute), time.Now().Add(24*time.Hour)
	read := r.Token("harbour-shop", catalog.ScopeRead, func(t *catalog.Token) { t.Expires = soon })
	contribute := r.Token("reed-otter", catalog.ScopeContribute, nil)
	expired := r.Token("reed-otter", catalog.ScopeCurate, func(t *catalog.Token) { t.Expires = past })
	revoked := r.Token("reed-otter", catalog.ScopeCurate, func(t *catalog.Token) { t.Revoked = past })
	good := servertest.Bundle(t, r.Store, servertest.Everything)
	before := servertest.Bundle(t, r.Store, servertest.Everything)
	endpoints := []struct {
		method, path string
		scope        catalog.Scope
		body         []byte
	}{
		{"GET", wire.StatusPath, catalog.ScopeRead, nil}, {"GET", wire.RecordsPath, catalog.ScopeRead, nil},
		{"POST", wire.RecordsPath, catalog.ScopeContribute, good},
	}
	for _, e := range endpoints {
		name := e.method + " " + e.path
		ask := func(status int, kind string, header ...string) {
			t.Helper()
			r.Pass(time.Minute) // wrong tokens may come slowly only
			answer, body := r.ask(e.method, e.path, e.body, append([]string{"Content-Type", wire.BundleType}, header...)...)
			r.problem(answer, body, status, kind)
			if challenge := answer.Header.Get("WWW-Authenticate"); (challenge != "") != (status == 401) {
				t.Errorf("%s: challenge %q with status %d", name, challenge, status)
			}
		}
		ask(401, "no-token")
		ask(401, "bad-token", bearer(catalog.NewSecret())...)
		ask(401, "bad-token", bearer(expired)...)
		ask(401, "bad-token", bearer(revoked)...)
		ask(401, "bad-token", "Authorization", "Bearer "+read.Reveal()[:50])
		ask(401, "bad-token", "Authorization", "Bearer ")
		ask(401, "bad-token", "Authorization", "Digest "+read.Reveal())
		ask(401, "bad-token", "Authorization", read.Reveal())
		if e.scope == catalog.ScopeContribute {
			ask(403, "wrong-scope", bearer(read)...)
		}
	}
	// A token in the address is none.
	answer, body := r.ask("GET", wire.StatusPath+"?token="+contribute.Reveal(), nil)
	r.problem(answer, body, 401, "no-token")
	if !bytes.Equal(servertest.Bundle(t, r.Store, servertest.Everything), before) {
		t.Error("the catalog changed")
	}
	for _, s := range []catalog.Secret{read, contribute, expired, revoked} {
		if strings.Contains(r.Journal.String(), s.Reveal()[9:30]) {
			t.Errorf("a token is in the log: %s", r.Journal)
		}
	}
}

// A token stops opening anything the moment it is revoked, in another process too.
func TestRevokedWhileInUse(t *testing.T) {
	r := start(t, newStore(t), nil)
	secret := r.Token("reed-otter", catalog.ScopeRead, nil)
	if answer, body := r.ask("GET", wire.StatusPath, nil, bearer(secret)...); answer.StatusCode != 200 {
		t.Fatalf("%d: %s", answer.StatusCode, body)
	}
	token := must(r.Store.TokenOf(ctx, secret.Hash()))(t)
	if err := r.Store.RevokeTokens(ctx, time.Now(), token.ID); err != nil {
		t.Fatal(err)
	}
	answer, body := r.ask("GET", wire.StatusPath, nil, bearer(secret)...)
	if p := r.problem(answer, body, 401, "bad-token"); p.Detail != "it was revoked" {
		t.Errorf("%+v", p)
	}
}

func TestStatus(t *testing.T) {
	r := start(t, newStore(t), nil)
	servertest.Band(t, r.Store, 2)
	secret := r.Token("reed-otter", catalog.ScopeContribute, nil)
	end := must(r.Store.End(ctx))(t)
	var got wire.Status
	_, body := r.ask("GET", wire.StatusPath+"?position="+end.String(), nil, bearer(secret)...)
	if err := json.Unmarshal(body, &got); err != nil {
		t.Fatal(err)
	}
	want := wire.Status{Catalog: must(r.Store.PoolID(ctx))(t), Contributor: "reed-otter", Scope: "contribute", Position: end.String(), Known: true}
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	_, body = r.ask("GET", wire.StatusPath+"?position="+end.String()+"&position=5.ab.1.x", nil, bearer(secret)...)
	if !strings.Contains(string(body), `"position_known":false`) {
		t.Errorf("%s", body)
	}
	for _, q := range []string{"?position=x", "?position=1&position=2&position=3&position=4&position=5", "?position=" + strings.Repeat("9", 5000)} {
		answer, body := r.ask("GET", wire.StatusPath+q, nil, bearer(secret)...)
		r.problem(answer, body, 400, "bad-request")
	}
	if err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	if token := must(r.Store.TokenOf(ctx, secret.Hash()))(t); time.Since(token.LastUsed) > time.Minute {
		t.Errorf("last used %v", token.LastUsed)
	}
}

// pullAll follows positions to the end and merges servertest.Everything into a catalog.
func (r running) pullAll(secret catalog.Secret, into catalog.Store) (parts int) {
	r.Helper()
	for after, more := "0", true; more; parts++ {
		answer, body := r.ask("GET", wire.RecordsPath+"?after="+after, nil, bearer(secret)...)
		after, more = answer.Header.Get(wire.PositionHeader), answer.Header.Get(wire.MoreHeader) == "true"
		switch answer.StatusCode {
		case 204:
		case 200:
			must(pool.Merge(ctx, into, []pool.File{{Name: "part", Content: bytes.NewReader(body)}}, nil))(r)
		default:
			r.Fatalf("%d: %s", answer.StatusCode, body)
		}
	}
	return parts
}

// What is pulled leaves handles, remarks and owner notes at home, unless the
// server was told otherwise.
func TestPulledRecords(t *testing.T) {
	for _, p := range []pool.Privacy{{}, servertest.Everything} {
		r := start(t, newStore(t), func(c *server.Config) { c.Privacy = p })
		servertest.Band(t, r.Store, 1100)
		to := newStore(t)
		if parts := r.pullAll(r.Token("harbour-shop", catalog.ScopeRead, nil), to); parts != 2 {
			t.Errorf("%d parts", parts)
		}
		got, want := servertest.Bundle(t, to, servertest.Everything), servertest.Bundle(t, r.Store, p)
		if !bytes.Equal(got, want) {
			t.Errorf("with %+v the catalogs differ", p)
		}
		for _, word := range []string{"blue-kite", "cold hall", "the band"} {
			if text := unpacked(t, got); strings.Contains(text, word) != p.Handles {
				t.Errorf("with %+v, %q is there: %v", p, word, strings.Contains(text, word))
			}
		}
	}
}

// unpacked is the text of a bundle.
func unpacked(tb testing.TB, bundle []byte) string {
	tb.Helper()
	var b strings.Builder
	for p, err := range pool.Read(ctx, pool.File{Name: "bundle", Content: bytes.NewReader(bundle)}) {
		if err != nil {
			tb.Fatal(err)
		}
		b.Write(must(p.Encode())(tb))
	}
	return b.String()
}

func TestPullingFromWhereTheServerNeverWas(t *testing.T) {
	r := start(t, newStore(t), nil)
	servertest.Band(t, r.Store, 1)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	for _, after := range []string{"99.ab.1.x", "1.ab.1.x", "x", "-1", "1.2.3"} {
		answer, body := r.ask("GET", wire.RecordsPath+"?after="+after, nil, bearer(secret)...)
		r.problem(answer, body, 400, "bad-request")
	}
}

// post sends a bundle.
func (r running) post(secret catalog.Secret, bundle []byte) (*http.Response, []byte) {
	r.Helper()
	return r.ask("POST", wire.RecordsPath, bundle, append(bearer(secret), "Content-Type", wire.BundleType)...)
}

func (r running) receipt(answer *http.Response, body []byte) (out wire.Receipt) {
	r.Helper()
	if answer.StatusCode != 200 || json.Unmarshal(body, &out) != nil {
		r.Fatalf("%d: %s", answer.StatusCode, body)
	}
	return out
}

// What a contributor sends is taken over as far as it is the contributor's; a
// curator's is taken over whole. Sent again, it changes nothing.
func TestPushedRecords(t *testing.T) {
	from := newStore(t)
	servertest.Band(t, from, 6)
	bundle := servertest.Bundle(t, from, servertest.Everything)
	r := start(t, newStore(t), nil)
	otter, keeper := r.Token("reed-otter", catalog.ScopeContribute, nil), r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	got := r.receipt(r.post(otter, bundle))
	if (got.New != wire.Counts{Horns: 1, Mouthpieces: 1, Players: 1, Sessions: 3, Readings: 93}) || len(got.HeldBack) != 3 || got.HeldBack[0].Why != "it was measured by lamp-keeper" {
		t.Errorf("%+v", got)
	}
	end := must(r.Store.End(ctx))(t)
	if got.Position != end.String() {
		t.Errorf("position %s, want %s", got.Position, end)
	}
	again := r.receipt(r.post(otter, bundle))
	if (again.New != wire.Counts{}) || (again.Changed != wire.Counts{}) || again.Position != got.Position {
		t.Errorf("sent again: %+v", again)
	}
	all := r.receipt(r.post(keeper, bundle))
	if all.New.Sessions != 3 || len(all.HeldBack) != 0 {
		t.Errorf("%+v", all)
	}
	// The curator's bundle left the names of who entered gear as they were.
	if x := must(r.Store.Mouthpiece(ctx, "Plover 16.2"))(t); x.Contributor != "reed-otter" {
		t.Errorf("%+v", x)
	}
}

// Bundles that are damaged, cut, swollen or none are refused whole.
func TestMalformedBundles(t *testing.T) {
	from := newStore(t)
	servertest.Band(t, from, 6)
	bundle := servertest.Bundle(t, from, servertest.Everything)
	r := start(t, newStore(t), nil)
	keeper := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	flipped := bytes.Clone(bundle)
	flipped[len(flipped)/2] ^= 1
	for name, body := range map[string][]byte{
		"nothing": {}, "text": []byte("session,note\n"), "cut": bundle[:len(bundle)-9], "flipped": flipped,
		"twice": append(bytes.Clone(bundle), bundle...), "bomb": bomb(t), "json": []byte(`{"bundle":"centwise","format":1}`),
	} {
		answer, text := r.post(keeper, body)
		if p := r.problem(answer, text, 422, "bad-bundle"); p.Detail == "" {
			t.Errorf("%s: no reason", name)
		}
	}
	answer, text := r.ask("POST", wire.RecordsPath, bundle, append(bearer(keeper), "Content-Type", "text/plain")...)
	r.problem(answer, text, 415, "wrong-type")
	answer, text = r.post(keeper, make([]byte, wire.MaxBundleBytes+1))
	r.problem(answer, text, 413, "too-large")
	// Without saying how long it is.
	q := must(http.NewRequest("POST", r.URL+wire.RecordsPath, io.LimitReader(zeros{}, wire.MaxBundleBytes+1)))(t)
	q.Header.Set("Authorization", "Bearer "+keeper.Reveal())
	q.Header.Set("Content-Type", wire.BundleType)
	answer = must(http.DefaultClient.Do(q))(t)
	text = must(io.ReadAll(answer.Body))(t)
	answer.Body.Close()
	r.problem(answer, text, 413, "too-large")
	if info := must(r.Store.Info(ctx))(t); info.Sessions+info.Horns != 0 {
		t.Errorf("something was merged: %+v", info)
	}
	answer, text = r.ask("PUT", wire.RecordsPath, bundle, bearer(keeper)...)
	if p := r.problem(answer, text, 405, "wrong-method"); p.Detail != "it takes GET and POST" {
		t.Errorf("detail %q", p.Detail)
	}
	if allow := answer.Header.Values("Allow"); fmt.Sprint(allow) != "[GET POST]" {
		t.Errorf("Allow %q", allow)
	}
	answer, text = r.ask("GET", "/v2/records", nil, bearer(keeper)...)
	r.problem(answer, text, 404, "not-there")
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }
