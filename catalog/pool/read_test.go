package pool_test

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
)

// small is a catalog with a horn, a mouthpiece, a player and two sessions.
func small(tb testing.TB) catalog.Store {
	tb.Helper()
	s := newStore(tb)
	h, m, p := catalog.NewID(), catalog.NewID(), catalog.NewID()
	one := catalog.Session{Name: "mon-1", Horn: h, Mouthpiece: m, Player: p, Contributor: "reed-otter", Remark: "Reed-Otter was tired", Source: "letters/mon.csv",
		Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 2}, Repeat: 1, Cents: -4.5}, {Slot: pitch.Slot{Valves: 5, Partial: 3}, Repeat: 2, Cents: 400, Odd: true}}}
	two := one
	two.Name, two.Contributor = "REED-OTTER 2", "lamp-keeper"
	err := s.Apply(ctx, catalog.Changes{
		Horns:       []catalog.Horn{{ID: h, Label: "reed-otter's Alder", Owner: "reed-otter, Harbour Lane", Tags: []string{"silver"}}},
		Mouthpieces: []catalog.Mouthpiece{{ID: m, Label: "Plover 16.2", Owner: "the school"}},
		Players:     []catalog.Player{{ID: p, Label: "reed-otter", Level: "fourth year", RangeLow: 60, Weights: catalog.Weights{60: 2}}},
		Sessions:    []catalog.Session{one, two},
	})
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

func unpack(tb testing.TB, bundle []byte) string {
	tb.Helper()
	return string(must(io.ReadAll(must(gzip.NewReader(bytes.NewReader(bundle)))(tb)))(tb))
}

func pack(tb testing.TB, text string) []byte {
	tb.Helper()
	var b bytes.Buffer
	gz := gzip.NewWriter(&b)
	must(io.WriteString(gz, text))(tb)
	if err := gz.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// sealed makes a bundle of records with the digests that belong to them.
func sealed(tb testing.TB, records ...string) []byte {
	tb.Helper()
	text := "{\"bundle\":\"centwise\",\"format\":1}\n"
	readings := 0
	for _, r := range records {
		body := r[strings.Index(r, ":")+1 : len(r)-1]
		digest := sha256.Sum256([]byte(body))
		text += fmt.Sprintf("{\"digest\":%q,%s\n", hex.EncodeToString(digest[:]), r[1:])
		if at := strings.Index(r, `"readings":`); at >= 0 {
			readings += strings.Count(r[at:], "],[") + 1
		}
	}
	digest := sha256.Sum256([]byte(text))
	return pack(tb, text+fmt.Sprintf("{\"end\":{\"records\":%d,\"readings\":%d,\"digest\":%q}}\n", len(records), readings, hex.EncodeToString(digest[:])))
}

const (
	playerLine = `{"player":{"id":"01M8A3AEZXPEW8AF4KN28P8T1Q","revision":1,"revised":"2026-03-14T12:00:00Z","label":"blue-kite"}}`
	hornLine   = `{"horn":{"id":"01M8A3AEZXPEW8AF4KN28P8T1R","revision":1,"revised":"2026-03-14T12:00:00Z","label":"Alder"}}`
	mouthLine  = `{"mouthpiece":{"id":"01M8A3AEZXPEW8AF4KN28P8T1S","revision":1,"revised":"2026-03-14T12:00:00Z","label":"Plover"}}`
)

func sessionLine(change ...string) string {
	return strings.NewReplacer(change...).Replace(`{"session":{"id":"01M8A3AEZXPEW8AF4KN28P8T1V","name":"mon","horn":"01M8A3AEZXPEW8AF4KN28P8T1R","mouthpiece":"01M8A3AEZXPEW8AF4KN28P8T1S",` +
		`"player":"01M8A3AEZXPEW8AF4KN28P8T1Q","recorded":"2026-03-14T12:00:00Z","readings":[[0,2,1,-3],[13,3,1,4.5]]}}`)
}

// refused expects that a bundle is refused with words, and that a catalog it is
// merged into stays as it is.
func refused(t *testing.T, bundle []byte, words ...string) {
	t.Helper()
	s := newStore(t)
	before := must(s.Info(ctx))(t)
	good := sealed(t, playerLine, hornLine, mouthLine, sessionLine())
	_, err := pool.Merge(ctx, s, files(good, bundle), nil)
	if catalog.KindOf(err) != catalog.Invalid && catalog.KindOf(err) != catalog.NotFound {
		t.Fatalf("error %v", err)
	}
	for _, w := range append(words, "bundle 2") {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
	after := must(s.Info(ctx))(t)
	after.Bytes, before.Bytes = 0, 0
	if after != before {
		t.Errorf("a refused bundle left a trace: %+v", after)
	}
}

func TestBadBundles(t *testing.T) {
	whole := export(t, small(t), pool.ExportOptions{})
	text := unpack(t, whole)
	lines := strings.SplitAfter(text, "\n")
	gear := []string{playerLine, hornLine, mouthLine}
	with := func(records ...string) []byte { return sealed(t, append(gear[:3:3], records...)...) }
	for _, tc := range []struct {
		name   string
		bundle []byte
		words  []string
	}{
		{"empty", nil, []string{"cut off"}},
		{"not compressed", []byte(text), []string{"not a bundle"}},
		{"cut short", whole[:len(whole)-40], []string{"record", "cut off"}},
		{"cut at a line", pack(t, strings.Join(lines[:3], "")), []string{"record 3", "cut off"}},
		{"one byte of the compressed data", append(append(bytes.Clone(whole[:len(whole)/2]), whole[len(whole)/2]^1), whole[len(whole)/2+1:]...), nil},
		{"something behind", append(bytes.Clone(whole), 'x'), []string{"follows the bundle"}},
		{"twice", append(bytes.Clone(whole), whole...), []string{"follows the bundle"}},
		{"a line behind", pack(t, text+"{}\n"), []string{"follows the last line"}},
		{"another file", pack(t, "{\"a\":1}\n"), []string{"not a bundle of centwise"}},
		{"a newer format", pack(t, strings.Replace(text, `"format":1`, `"format":2`, 1)), []string{"format 2", "newer version"}},
		{"a changed reading", pack(t, strings.Replace(text, "-4.5", "-4.6", 1)), []string{"record 4", "session", "digest"}},
		{"a changed digest", pack(t, strings.Replace(text, `{"digest":"`, `{"digest":"0`, 1)), []string{"record 1", "digest"}},
		{"a line taken out", pack(t, strings.Join(append(lines[:5:5], lines[6:]...), "")), []string{"not whole"}},
		{"lines exchanged", pack(t, lines[0]+lines[2]+lines[1]+strings.Join(lines[3:], "")), []string{"not whole"}},
		{"no line end", pack(t, strings.Repeat("x", 1<<20)), []string{"cut off"}},
		{"an endless line", pack(t, strings.Repeat("x", 17<<20)), []string{"longer than"}},
		{"empty lines", pack(t, lines[0]+"\n\n"), []string{"record 1", "JSON"}},
		{"a list", pack(t, lines[0]+"[1]\n"), []string{"record 1"}},
		{"deep", pack(t, lines[0]+strings.Repeat("[", 20000)+"\n"), []string{"record 1"}},
		{"not UTF-8", pack(t, lines[0]+"{\"horn\":\"\xff\"}\n"), []string{"record 1", "UTF-8"}},
		{"two records in a line", with(`{"horn":{},"player":{}}`), []string{"record 4"}},
		{"a wrong type", sealed(t, strings.Replace(hornLine, `"Alder"`, "7", 1)), []string{"record 1", "label"}},
		{"a hidden character", sealed(t, strings.Replace(hornLine, "Alder", `\u202eredlA`, 1)), []string{"record 1", "U+202E"}},
		{"a terminal escape", sealed(t, strings.Replace(hornLine, "Alder", `\u001b[31mAlder`, 1)), []string{"record 1", "U+001B"}},
		{"no id", sealed(t, strings.Replace(hornLine, `"id":"01M8A3AEZXPEW8AF4KN28P8T1R",`, "", 1)), []string{"record 1", "ULID"}},
		{"a bad id", sealed(t, strings.Replace(hornLine, "01M8", "x", 1)), []string{"record 1", "ULID"}},
		{"no time", sealed(t, strings.Replace(hornLine, `"revised":"2026-03-14T12:00:00Z",`, "", 1)), []string{"record 1", "when it was revised"}},
		{"no label", sealed(t, strings.Replace(hornLine, "Alder", "", 1)), []string{"record 1", "label"}},
		{"an absurd bore", sealed(t, strings.Replace(hornLine, `"label"`, `"bore_mm":460,"label"`, 1)), []string{"record 1", "bore_mm"}},
		{"not the first revision", sealed(t, strings.Replace(hornLine, `"revision":1`, `"revision":2`, 1)), []string{"record 1", "revision 2"}},
		{"a revision twice", sealed(t, hornLine, hornLine), []string{"record 2", "revision 1 follows revision 1"}},
		{"too many unknown fields", sealed(t, strings.Replace(hornLine, `"label"`, `"x":"`+strings.Repeat("y", 70000)+`","label"`, 1)), []string{"record 1", "does not know"}},
		{"withheld out of order", sealed(t, strings.Replace(hornLine, `"label"`, `"withheld":["tags","label"],"label"`, 1)), []string{"record 1", "withheld"}},
		{"gear after sessions", with(sessionLine(), strings.Replace(hornLine, "T1R", "T1X", 1)), []string{"record 5", "after sessions"}},
		{"a session without its horn", sealed(t, playerLine, mouthLine, sessionLine()), []string{"record 3", "01M8A3AEZXPEW8AF4KN28P8T1V", "horn"}},
		{"a session with a mouthpiece for a horn", with(sessionLine(`"horn":"01M8A3AEZXPEW8AF4KN28P8T1R"`, `"horn":"01M8A3AEZXPEW8AF4KN28P8T1S"`)), []string{"record 4", "horn"}},
		{"a session twice", with(sessionLine(), sessionLine()), []string{"record 5", "order"}},
		{"no readings", with(sessionLine(`[[0,2,1,-3],[13,3,1,4.5]]`, "[]")), []string{"record 4", "readings"}},
		{"a reading of five numbers", with(sessionLine("[0,2,1,-3]", "[0,2,1,-3,2]")), []string{"record 4", "reading 1"}},
		{"a reading of a word", with(sessionLine("-3", `"x"`)), []string{"record 4", "reading 1"}},
		{"a reading of no number", with(sessionLine("-3", `1e999`)), []string{"record 4"}},
		{"valves that are none", with(sessionLine("[13,", "[19,")), []string{"record 4", "reading 2"}},
		{"half a partial", with(sessionLine("[0,2,", "[0,2.5,")), []string{"record 4", "reading 1"}},
		{"far outside", with(sessionLine("-3", "-300")), []string{"record 4", "-300"}},
		{"retracted without a time", with(sessionLine(`"recorded"`, `"replaced_by":"01M8A3AEZXPEW8AF4KN28P8T1V","recorded"`)), []string{"record 4", "retraction"}},
		{"replaced by a stranger", with(sessionLine(`"recorded"`, `"retracted":"2026-03-14T12:00:00Z","replaced_by":"01M8A3AEZXPEW8AF4KN28P8T1W","recorded"`)), []string{"mon", "replace"}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, tc.bundle, tc.words...) })
	}
}

// What goes out comes back, with everything let go.
func TestBundlesKeepEverything(t *testing.T) {
	from, to := small(t), newStore(t)
	merge(t, to, export(t, from, pool.ExportOptions{Privacy: everything}))
	for _, name := range []string{"mon-1", "REED-OTTER 2"} {
		a, b := must(from.Session(ctx, name))(t), must(to.Session(ctx, name))(t)
		if fmt.Sprintf("%+v", a) != fmt.Sprintf("%+v", b) {
			t.Errorf("got  %+v\nwant %+v", b, a)
		}
	}
	a, b := must(from.Player(ctx, "reed-otter"))(t), must(to.Player(ctx, "reed-otter"))(t)
	if fmt.Sprintf("%+v", a) != fmt.Sprintf("%+v", b) {
		t.Errorf("got  %+v\nwant %+v", b, a)
	}
}

// By default nothing leaves that tells who played, who owns, or what was
// remarked, in whatever field it stands; the owner gets it all back.
func TestPrivacy(t *testing.T) {
	home := small(t)
	bundle := export(t, home, pool.ExportOptions{})
	text := strings.ToLower(unpack(t, bundle))
	for _, secret := range []string{"otter", "tired", "harbour lane", "the school", "mon.csv", "fourth year", `"c4"`} {
		if strings.Contains(text, secret) {
			t.Errorf("%q leaves:\n%s", secret, text)
		}
	}
	for _, public := range []string{"lamp-keeper", "alder", "plover 16.2", "mon-1", "silver", "-4.5"} {
		if !strings.Contains(text, public) {
			t.Errorf("%q stays at home:\n%s", public, text)
		}
	}
	if again := export(t, home, pool.ExportOptions{}); !bytes.Equal(again, bundle) {
		t.Error("two exports of one catalog differ")
	}
	away := newStore(t)
	merge(t, away, bundle)
	players := must(away.Players(ctx, false))(t)
	sessions := must(away.Sessions(ctx, catalog.SessionFilter{Contributor: players[0].Label}))(t)
	if len(players) != 1 || len(sessions) != 1 || sessions[0].Name != "mon-1" {
		t.Errorf("the pseudonym %q has %d sessions as a contributor", players[0].Label, len(sessions))
	}
	relayed := export(t, away, pool.ExportOptions{})
	if unpack(t, relayed) != unpack(t, bundle) {
		t.Error("a bundle that is passed on differs")
	}
	before := portraitOf(t, home)
	merge(t, home, relayed)
	if after := portraitOf(t, home); after != before {
		t.Errorf("the catalog's own bundle changed it:\n%s\n%s", before, after)
	}
	for option, word := range map[pool.Privacy]string{{Handles: true}: `"reed-otter's alder"`, {Remarks: true}: "was tired", {Owners: true}: "the school"} {
		if text := strings.ToLower(unpack(t, export(t, home, pool.ExportOptions{Privacy: option}))); !strings.Contains(text, word) {
			t.Errorf("%+v: %q stays at home", option, word)
		}
	}
	// Free text that may leave still names nobody.
	if text := strings.ToLower(unpack(t, export(t, home, pool.ExportOptions{Privacy: pool.Privacy{Remarks: true, Owners: true}}))); strings.Contains(text, "otter") {
		t.Errorf("a handle leaves:\n%s", text)
	}
}

func portraitOf(t *testing.T, s catalog.Store) string {
	t.Helper()
	return unpack(t, export(t, s, pool.ExportOptions{Privacy: everything}))
}

// A bundle of one endless line, or of one line repeated, unpacks to far more
// than it is; neither takes memory.
func TestBombsTakeNoMemory(t *testing.T) {
	for name, line := range map[string]string{"one line": strings.Repeat("x", 1<<20), "many lines": strings.Repeat(" ", 1<<20) + "\n"} {
		var b bytes.Buffer
		gz := gzip.NewWriter(&b)
		must(io.WriteString(gz, "{\"bundle\":\"centwise\",\"format\":1}\n"))(t)
		for range 64 {
			must(io.WriteString(gz, line))(t)
		}
		gz.Close()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		var last error
		for _, err := range pool.Read(ctx, files(b.Bytes())[0]) {
			last = err
		}
		runtime.ReadMemStats(&after)
		if catalog.KindOf(last) != catalog.Invalid {
			t.Errorf("%s: error %v", name, last)
		}
		if grown := after.TotalAlloc - before.TotalAlloc; grown > 120<<20 {
			t.Errorf("%s: %d MB were taken", name, grown>>20)
		}
	}
}

type brokenDisk struct{}

func (brokenDisk) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

func TestBrokenDisk(t *testing.T) {
	whole := export(t, small(t), pool.ExportOptions{})
	_, err := pool.Merge(ctx, newStore(t), []pool.File{{Name: "b", Content: io.MultiReader(bytes.NewReader(whole[:100]), brokenDisk{})}}, nil)
	if err == nil || !strings.Contains(err.Error(), "the disk is gone") || !strings.Contains(err.Error(), "b, record") && !strings.Contains(err.Error(), "b:") {
		t.Errorf("error %v", err)
	}
}

// No bytes make the reader panic, and what it accepts survives being merged,
// exported and read again.
func FuzzRead(f *testing.F) {
	whole := export(f, small(f), pool.ExportOptions{})
	f.Add([]byte(unpack(f, whole)))
	f.Add([]byte(unpack(f, sealed(f, playerLine, hornLine, mouthLine, sessionLine()))))
	f.Add([]byte(unpack(f, sealed(f, hornLine, `{"oil":{"id":7}}`))))
	f.Fuzz(func(t *testing.T, text []byte) {
		// Whatever is inside, the digests are made right, else nothing gets past them.
		var records []string
		for line := range strings.Lines(string(text)) {
			line = strings.TrimSuffix(line, "\n")
			if at := strings.Index(line, `",`); strings.HasPrefix(line, `{"digest":"`) && at > 0 && at+2 < len(line) && strings.Contains(line[at+2:], ":") {
				records = append(records, "{"+line[at+2:])
			}
		}
		for _, bundle := range [][]byte{text, pack(t, string(text)), sealed(t, records...)} {
			var got []catalog.Pooled
			failed := false
			for p, err := range pool.Read(ctx, files(bundle)[0]) {
				if failed = err != nil; !failed {
					got = append(got, p)
				}
			}
			if failed {
				continue
			}
			for _, p := range got {
				body := must(p.Encode())(t)
				again, err := catalog.DecodePooled(p.Kind(), body)
				if err != nil {
					t.Fatalf("%s is not read again: %v", body, err)
				}
				if second := must(again.Encode())(t); !bytes.Equal(body, second) {
					t.Fatalf("%s\nbecomes\n%s", body, second)
				}
			}
		}
	})
}
