package storetest

import (
	"testing"
	"time"

	"centwise/catalog"
)

var tokenTests = []contract{
	{"a token is found by the hash of its text", tokenRoundTrip},
	{"a token that breaks a rule is refused", tokenRefused},
	{"tokens are revoked together or not at all", tokenRevoked},
	{"the last use of a token moves forward only", tokenUsed},
	{"tokens are no part of the data", tokenApart},
}

func newToken(contributor string) (catalog.Token, catalog.Secret) {
	secret := catalog.NewSecret()
	return catalog.Token{ID: catalog.NewID(), Contributor: contributor, Scope: catalog.ScopeContribute, Hash: secret.Hash(),
		Note: "laptop", Created: noon, Expires: noon.AddDate(1, 0, 0)}, secret
}

func (f *fixture) token(contributor string) catalog.Token {
	f.t.Helper()
	t, _ := newToken(contributor)
	if err := f.store.AddToken(f.ctx, t); err != nil {
		f.t.Fatal(err)
	}
	return t
}

func tokenRoundTrip(t *testing.T, f *fixture) {
	equal(t, "tokens of a new catalog", len(must(f.store.Tokens(f.ctx))(t)), 0)
	one, secret := newToken(" lamp-keeper ")
	if err := f.store.AddToken(f.ctx, one); err != nil {
		t.Fatal(err)
	}
	one.Contributor = "lamp-keeper"
	bare := catalog.Token{ID: catalog.NewID(), Contributor: "reed-otter", Scope: catalog.ScopeRead, Hash: catalog.NewSecret().Hash(), Created: noon}
	if err := f.store.AddToken(f.ctx, bare); err != nil {
		t.Fatal(err)
	}
	again := must(catalog.ParseSecret("\t" + secret.Reveal() + "\n"))(t)
	equal(t, "token", must(f.store.TokenOf(f.ctx, again.Hash()))(t), one)
	equal(t, "tokens", must(f.store.Tokens(f.ctx))(t), []catalog.Token{one, bare})
	_, err := f.store.TokenOf(f.ctx, catalog.NewSecret().Hash())
	wantError(t, err, catalog.NotFound, "not known")
}

func tokenRefused(t *testing.T, f *fixture) {
	good := f.token("lamp-keeper")
	before := f.dump()
	for _, tc := range []struct {
		name  string
		kind  catalog.Kind
		spoil func(*catalog.Token)
	}{
		{"contributor", catalog.Invalid, func(t *catalog.Token) { t.Contributor = " " }},
		{"scope", catalog.Invalid, func(t *catalog.Token) { t.Scope = "everything" }},
		{"hash", catalog.Invalid, func(t *catalog.Token) { t.Hash = catalog.Digest{} }},
		{"created", catalog.Invalid, func(t *catalog.Token) { t.Created = time.Time{} }},
		{"expires", catalog.Invalid, func(t *catalog.Token) { t.Expires = t.Created }},
		{"id", catalog.Invalid, func(t *catalog.Token) { t.ID = "one" }},
		{"already", catalog.Conflict, func(t *catalog.Token) { t.ID = good.ID }},
		{"already", catalog.Conflict, func(t *catalog.Token) { t.Hash = good.Hash }},
	} {
		bad, _ := newToken("reed-otter")
		tc.spoil(&bad)
		wantError(t, f.store.AddToken(f.ctx, bad), tc.kind, tc.name)
	}
	equal(t, "catalog after what was refused", f.dump(), before)
}

func tokenRevoked(t *testing.T, f *fixture) {
	one, two := f.token("lamp-keeper"), f.token("reed-otter")
	wantError(t, f.store.RevokeTokens(f.ctx, noon, one.ID, catalog.NewID()), catalog.NotFound, "no token")
	equal(t, "tokens after a slip", must(f.store.Tokens(f.ctx))(t), []catalog.Token{one, two})
	if err := f.store.RevokeTokens(f.ctx, noon.Add(time.Hour), one.ID); err != nil {
		t.Fatal(err)
	}
	if err := f.store.RevokeTokens(f.ctx, noon.Add(2*time.Hour), one.ID, two.ID); err != nil {
		t.Fatal(err)
	}
	one.Revoked, two.Revoked = noon.Add(time.Hour), noon.Add(2*time.Hour)
	equal(t, "tokens", must(f.store.Tokens(f.ctx))(t), []catalog.Token{one, two})
	equal(t, "a revoked token", must(f.store.TokenOf(f.ctx, one.Hash))(t), one)
	equal(t, "good", one.Good(noon.Add(3*time.Hour)), false)
}

func tokenUsed(t *testing.T, f *fixture) {
	one := f.token("lamp-keeper")
	for _, tc := range []struct{ at, want time.Time }{{noon.Add(time.Hour), noon.Add(time.Hour)}, {noon, noon.Add(time.Hour)}, {noon.Add(2 * time.Hour), noon.Add(2 * time.Hour)}} {
		if err := f.store.TokensUsed(f.ctx, map[catalog.ID]time.Time{one.ID: tc.at, catalog.NewID(): noon}); err != nil {
			t.Fatal(err)
		}
		equal(t, "last use", must(f.store.TokenOf(f.ctx, one.Hash))(t).LastUsed, tc.want)
	}
}

func tokenApart(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2, 3))
	digest, records := f.digest(), texts(t, f.pooled(catalog.PoolSelection{}))
	f.token("lamp-keeper")
	equal(t, "digest", f.digest(), digest)
	equal(t, "what is pooled", texts(t, f.pooled(catalog.PoolSelection{})), records)
	f.sound()
}
