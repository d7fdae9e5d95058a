package catalog

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"log/slog"
	"slices"
	"strings"
	"time"
)

// Scope is what the holder of a token may do on a pool server. Each scope holds
// the ones before it.
type Scope string

const (
	// ScopeRead allows looking and pulling.
	ScopeRead Scope = "read"
	// ScopeContribute allows sending what the token's contributor measured or
	// entered, and taking that back.
	ScopeContribute Scope = "contribute"
	// ScopeCurate allows sending records of anybody.
	ScopeCurate Scope = "curate"
)

// Scopes lists the scopes from the narrowest on.
var Scopes = []Scope{ScopeRead, ScopeContribute, ScopeCurate}

// Allows reports whether s holds the scope needed.
func (s Scope) Allows(needed Scope) bool {
	have, want := slices.Index(Scopes, s), slices.Index(Scopes, needed)
	return want >= 0 && have >= want
}

// Secret is the text of a token, which whoever has it can use. It shows itself
// only when [Secret.Reveal] is called: printed or logged it stays hidden.
type Secret struct{ text string }

// secretPrefix tells tokens from other texts, for people and for programs that
// look for secrets which got into the wrong place.
const secretPrefix = "centwise_"

const secretBytes = 32

var secretLetters = base32.StdEncoding.WithPadding(base32.NoPadding)

// NewSecret makes a token's text of 256 random bits.
func NewSecret() Secret {
	var b [secretBytes]byte
	rand.Read(b[:]) // never fails
	return Secret{secretPrefix + strings.ToLower(secretLetters.EncodeToString(b[:]))}
}

// ParseSecret reads a token's text. The error is of kind Invalid and does not
// hold the text.
func ParseSecret(text string) (Secret, error) {
	letters, ok := strings.CutPrefix(strings.TrimSpace(text), secretPrefix)
	if b, err := secretLetters.DecodeString(strings.ToUpper(letters)); ok && err == nil && len(b) == secretBytes && letters == strings.ToLower(letters) {
		return Secret{secretPrefix + letters}, nil
	}
	return Secret{}, Errorf(Invalid, "copy all of it: "+secretPrefix+" and 52 letters and digits", "this is not the text of a token")
}

// Reveal is the text itself.
func (s Secret) Reveal() string { return s.text }

// Hash is what a store keeps of a token. The text holds 256 random bits, so that
// nobody finds it by trying, and a fast hash is enough.
func (s Secret) Hash() Digest { return sha256.Sum256([]byte(s.text)) }

const hiddenSecret = "(a token)"

// String, GoString, MarshalText and LogValue hide the text.
func (Secret) String() string               { return hiddenSecret }
func (Secret) GoString() string             { return hiddenSecret }
func (Secret) MarshalText() ([]byte, error) { return []byte(hiddenSecret), nil }
func (Secret) LogValue() slog.Value         { return slog.StringValue(hiddenSecret) }

// HideSecrets is the text with the tokens in it replaced.
func HideSecrets(text string) string {
	var out strings.Builder
	for {
		before, rest, found := strings.Cut(text, secretPrefix)
		out.WriteString(before)
		if !found {
			return out.String()
		}
		end := strings.IndexFunc(rest, func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9') })
		if end < 0 {
			end = len(rest)
		}
		// What is shorter than a third of a token is none of its secret.
		if end < 17 {
			out.WriteString(secretPrefix + rest[:end])
		} else {
			out.WriteString(hiddenSecret)
		}
		text = rest[end:]
	}
}

// Token lets somebody use a pool server that serves the catalog. Tokens are no
// part of the digest and never leave the catalog.
type Token struct {
	ID          ID
	Contributor string // under whose name its holder contributes
	Scope       Scope
	Hash        Digest // of its text, see [Secret.Hash]
	Note        string // what it is for; may be empty
	Created     time.Time
	Expires     time.Time // zero: never
	Revoked     time.Time // zero: not
	LastUsed    time.Time // to about a minute; zero: not yet
}

// Normalize brings the token into the form that is stored.
func (t *Token) Normalize() {
	normalLabels(&t.Contributor, &t.Note)
	t.Created, t.Expires, t.Revoked, t.LastUsed = utc(t.Created), utc(t.Expires), utc(t.Revoked), utc(t.LastUsed)
}

// Validate checks the token as it stands. The error is an [*Error] of kind
// Invalid holding [Problems].
func (t Token) Validate() error {
	c := checking("token of", t.Contributor)
	if !t.ID.Valid() {
		c.addf("id", "take it from NewID", "%q is not a ULID", t.ID)
	}
	c.label("contributor", t.Contributor)
	c.handle("note", t.Note)
	oneOf(c, "scope", t.Scope, Scopes)
	if t.Hash == (Digest{}) {
		c.add("hash", "is missing", "make a token's text first")
	}
	if t.Created.IsZero() {
		c.add("created", "is missing", "say when it was made")
	}
	if !t.Expires.IsZero() && !t.Expires.After(t.Created) {
		c.add("expires", "is not after it was made", "choose a later time")
	}
	return c.err()
}

// Good reports whether the token opens anything at a time.
func (t Token) Good(now time.Time) bool { return t.Revoked.IsZero() && !t.Expired(now) }

// Expired reports whether the token's time is over.
func (t Token) Expired(now time.Time) bool { return !t.Expires.IsZero() && !now.Before(t.Expires) }

// TokenKeeper keeps the tokens of a pool server.
type TokenKeeper interface {
	// AddToken keeps a new token. Invalid: a rule is broken; Conflict: its id or
	// its hash is there.
	AddToken(ctx context.Context, t Token) error
	// Tokens lists all tokens, also those that are revoked or whose time is over,
	// in the order of their ids.
	Tokens(ctx context.Context) ([]Token, error)
	// TokenOf finds the token whose text has a hash. NotFound: there is none.
	TokenOf(ctx context.Context, hash Digest) (Token, error)
	// RevokeTokens ends tokens for good: all of them or, on an error, none.
	// NotFound: one is not there. Those that are revoked stay as they are.
	RevokeTokens(ctx context.Context, at time.Time, ids ...ID) error
	// TokensUsed notes when tokens were used last. Tokens that are not there are
	// passed over.
	TokensUsed(ctx context.Context, at map[ID]time.Time) error
}
