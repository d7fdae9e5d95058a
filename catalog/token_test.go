package catalog_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
)

func TestScopesHoldTheOnesBefore(t *testing.T) {
	for i, have := range catalog.Scopes {
		for j, needed := range catalog.Scopes {
			if have.Allows(needed) != (i >= j) {
				t.Errorf("%s allows %s: %v", have, needed, have.Allows(needed))
			}
		}
		if have.Allows("everything") || have.Allows("") {
			t.Errorf("%s allows what is no scope", have)
		}
	}
	if catalog.Scope("").Allows(catalog.ScopeRead) {
		t.Error("no scope allows something")
	}
}

// However a secret is printed, logged or encoded, its text does not come out.
func TestSecretsHideThemselves(t *testing.T) {
	s := catalog.NewSecret()
	text := s.Reveal()
	if len(text) != len("centwise_")+52 {
		t.Fatalf("a secret has %d letters", len(text))
	}
	var out bytes.Buffer
	type holder struct{ Secret catalog.Secret }
	fmt.Fprintf(&out, "%v %+v %#v %s %q %v %+v\n", s, s, s, s, s, holder{s}, &holder{s})
	slog.New(slog.NewJSONHandler(&out, nil)).Info("x", "token", s, "holder", holder{s})
	slog.New(slog.NewTextHandler(&out, nil)).Info("x", "token", s, "holder", holder{s})
	if err := json.NewEncoder(&out).Encode(map[string]any{"a": s, "b": holder{s}}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(out.String(), text[9:20]) {
		t.Errorf("a secret shows itself: %s", &out)
	}
	if _, err := catalog.ParseSecret(text[:40]); err == nil || strings.Contains(err.Error(), text[9:20]) {
		t.Errorf("error of a cut secret: %v", err)
	}
}

func TestSecretsReadBack(t *testing.T) {
	seen := map[string]bool{}
	for range 100 {
		s := catalog.NewSecret()
		if seen[s.Reveal()] {
			t.Fatal("two secrets are equal")
		}
		seen[s.Reveal()] = true
		back, err := catalog.ParseSecret(" " + s.Reveal() + "\r\n")
		if err != nil || back != s || back.Hash() != s.Hash() {
			t.Fatalf("reads back as another one, error %v", err)
		}
	}
	good := catalog.NewSecret().Reveal()
	for _, bad := range []string{"", "centwise_", good[1:], good + "a", strings.ToUpper(good), good[:30] + " " + good[31:], strings.Replace(good, "_", "-", 1), good[:len(good)-1] + "1"} {
		if _, err := catalog.ParseSecret(bad); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%d letters were taken for a secret", len(bad))
		}
	}
}

// No text that holds a secret, or most of one, keeps it.
func TestHideSecrets(t *testing.T) {
	if got := catalog.HideSecrets("pool push from centwise_notes to centwise_ "); got != "pool push from centwise_notes to centwise_ " {
		t.Errorf("other text became %q", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		secret := catalog.NewSecret().Reveal()
		cut := rapid.IntRange(len("centwise_")+17, len(secret)).Draw(t, "letters")
		before, after := rapid.String().Draw(t, "before"), rapid.StringMatching(`[ ,"&?].*`).Draw(t, "after")
		got := catalog.HideSecrets(before + secret[:cut] + after)
		if strings.Contains(got, secret[9:26]) {
			t.Fatalf("%q", got)
		}
		if !strings.HasPrefix(got, catalog.HideSecrets(before)) && !strings.Contains(before, "centwise_") {
			t.Fatalf("what stands before changed: %q", got)
		}
	})
}

func TestTokenTimes(t *testing.T) {
	now := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		token catalog.Token
		good  bool
	}{
		{catalog.Token{}, true},
		{catalog.Token{Expires: now.Add(time.Millisecond)}, true},
		{catalog.Token{Expires: now}, false},
		{catalog.Token{Revoked: now.Add(time.Hour)}, false},
		{catalog.Token{Revoked: now.Add(-time.Hour), Expires: now.Add(time.Hour)}, false},
	} {
		if tc.token.Good(now) != tc.good {
			t.Errorf("%+v is good: %v", tc.token, !tc.good)
		}
	}
}
