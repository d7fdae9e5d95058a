package catalog_test

import (
	"crypto/sha256"
	"math/big"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
)

var digests = rapid.Custom(func(t *rapid.T) catalog.Digest {
	return catalog.Digest(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "digest"))
})

// The sums are those of whole numbers modulo 2^256.
func TestDigestSums(t *testing.T) {
	modulus := new(big.Int).Lsh(big.NewInt(1), 256)
	number := func(d catalog.Digest) *big.Int { return new(big.Int).SetBytes(d[:]) }
	rapid.Check(t, func(t *rapid.T) {
		a, b := digests.Draw(t, "a"), digests.Draw(t, "b")
		sum := new(big.Int).Add(number(a), number(b))
		if got := number(a.Plus(b)); got.Cmp(sum.Mod(sum, modulus)) != 0 {
			t.Fatalf("%s + %s = %x", a, b, got)
		}
		if got := a.Plus(b).Minus(b); got != a {
			t.Fatalf("%s + %s - %s = %s", a, b, b, got)
		}
		if got := a.Minus(a); got != (catalog.Digest{}) {
			t.Fatalf("%s - itself = %s", a, got)
		}
		if back, err := catalog.ParseDigest(a.String()); err != nil || back != a {
			t.Fatalf("%s read back as %s, error %v", a, back, err)
		}
	})
}

func TestParseDigest(t *testing.T) {
	good := strings.Repeat("ab", 32)
	if _, err := catalog.ParseDigest(good); err != nil {
		t.Error(err)
	}
	for _, bad := range []string{"", "ab", good[1:], good + "ab", strings.Repeat("xy", 32)} {
		if d, err := catalog.ParseDigest(bad); err == nil || d != (catalog.Digest{}) {
			t.Errorf("%q: %s, error %v", bad, d, err)
		}
	}
}

// Each field of the data changes the digest; what is not data does not. Fields
// added to a record later must be sorted into one of the two here.
func TestDigestFields(t *testing.T) {
	notData := map[string]bool{"ID": true, "Source": true, "Recorded": true, "Retraction": true,
		"Horn": true, "Mouthpiece": true, "Player": true} // a session's gear enters by label
	checkFields(t, goodHorn(), notData, func(h catalog.Horn) catalog.Digest { return h.Digest() })
	checkFields(t, goodMouthpiece(), notData, func(m catalog.Mouthpiece) catalog.Digest { return m.Digest() })
	notData["Weights"] = true // of a player
	checkFields(t, goodPlayer(), notData, func(p catalog.Player) catalog.Digest { return p.Digest() })
	checkFields(t, goodSession(), notData, func(s catalog.Session) catalog.Digest { return s.Content() })
}

func checkFields[T any](t *testing.T, record T, notData map[string]bool, digest func(T) catalog.Digest) {
	t.Helper()
	before := digest(record)
	seen := map[catalog.Digest]string{before: "unchanged"}
	typ := reflect.TypeOf(record)
	for i := range typ.NumField() {
		name := typ.Field(i).Name
		changed := record
		field := reflect.ValueOf(&changed).Elem().Field(i)
		if name == "Revision" {
			revision := field.Addr().Interface().(*catalog.Revision)
			revision.Number, revision.At, revision.Contributor = 9, time.Now(), "blue-kite"
			if digest(changed) != before {
				t.Errorf("%s: who entered a record when changes its digest", typ)
			}
			revision.Retired = true
		} else {
			alter(t, field)
		}
		after := digest(changed)
		if notData[name] {
			if after != before {
				t.Errorf("%s.%s changes the digest", typ, name)
			}
			continue
		}
		if other, ok := seen[after]; ok {
			t.Errorf("%s.%s has the digest of %s", typ, name, other)
		}
		seen[after] = name
	}
}

// alter gives a field another value of its kind, the same one everywhere, so
// that fields mistaken for each other come to light.
func alter(t *testing.T, field reflect.Value) {
	t.Helper()
	switch x := field.Addr().Interface().(type) {
	case *time.Time:
		*x = time.UnixMilli(7)
	case **float64:
		y := 7.0
		*x = &y
	case *[]string:
		*x = []string{"seven"}
	case *catalog.Weights:
		*x = catalog.Weights{60: 7}
	case *[]catalog.Reading:
		*x = append([]catalog.Reading{{Slot: (*x)[0].Slot, Repeat: 7}}, *x...)
	case **catalog.Retraction:
		*x = &catalog.Retraction{Reason: "seven"}
	default:
		switch field.Kind() {
		case reflect.String:
			field.SetString("seven")
		case reflect.Float64:
			field.SetFloat(7)
		case reflect.Int:
			field.SetInt(7)
		case reflect.Bool:
			field.SetBool(!field.Bool())
		default:
			t.Fatalf("no way to alter %s", field.Type())
		}
	}
}

// Text of one field never runs over into the next.
func TestDigestKeepsFieldsApart(t *testing.T) {
	a, b := goodHorn(), goodHorn()
	a.Maker, a.Model = "Tide", "wright"
	b.Maker, b.Model = "Tidewright", ""
	if a.Digest() == b.Digest() {
		t.Error("maker and model run together")
	}
	a, b = goodHorn(), goodHorn()
	a.Tags, b.Tags = []string{"x", "y"}, []string{"y", "x"}
	if a.Digest() != b.Digest() {
		t.Error("the order of tags counts")
	}
	b.Tags = []string{"xy"}
	if a.Digest() == b.Digest() {
		t.Error("tags run together")
	}
	c := catalog.Digest(sha256.Sum256(nil))
	if catalog.SessionDigest(c, "a", "b", "c") == catalog.SessionDigest(c, "b", "a", "c") || catalog.SessionDigest(c, "a", "b", "") == catalog.SessionDigest(c, "a", "", "b") {
		t.Error("labels of gear run together")
	}
}

// A digest is a promise to catalogs that exist: the encoding may not change.
// These values were computed with Python 3 (hashlib, struct) from the layout
// alone: texts with a four-byte length, numbers as eight bytes, big-endian.
func TestDigestStaysTheSame(t *testing.T) {
	h := goodHorn()
	h.Maker, h.Tags, h.Loaner = "Tidewright", []string{"silver"}, true
	s := goodSession()
	s.At, s.Contributor = time.UnixMilli(1_773_489_600_250), "blue-kite"
	for what, d := range map[string]catalog.Digest{
		"3c49a75c674dc2e479d66ea128e387371799d55a8dec3a066b65a8121ec488e2": h.Digest(),
		"697d2ea62796de6b44bca65875792b5b1c9cc85f8c30c34f37c8e85fb2ff8f15": catalog.SessionDigest(s.Content(), "Alder", "Plover 16.2", "reed-otter"),
	} {
		if d.String() != what {
			t.Errorf("digest %s, want %s", d, what)
		}
	}
}
