package sqlstore_test

import (
	"crypto/sha256"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// smallOnServer is a catalog of a few sessions.
func smallOnServer(t *testing.T) *sqlstore.Store {
	t.Helper()
	s := serverStore(t)
	apply(t, s, invented(40))
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{"items": []byte("profiles")}}); err != nil {
		t.Fatal(err)
	}
	return s
}

// Each way to tamper with a catalog on a server is found, named, and has a command.
func TestIntegrityFindsOnServer(t *testing.T) {
	// A server told so does not look after its rules, as when a dump is put back
	// without them.
	const unruly = `SET session_replication_role = replica`
	s := smallOnServer(t)
	if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
		t.Fatalf("a sound catalog: %+v, error %v", list, err)
	}
	for _, tc := range []struct {
		name, kind, subject, repair string
		statements                  []string
	}{
		{"a reading changed", "changed-session", "visit 3", "session retract", []string{`UPDATE reading SET cents = cents + 1 WHERE session = 4 AND valves = 0 AND partial = 2`}},
		{"a reading removed", "changed-session", "visit 3", "session retract", []string{`DELETE FROM reading WHERE session = 4 AND valves = 0 AND partial = 2`}},
		{"a session's temperature changed", "changed-session", "visit 0", "session retract", []string{`UPDATE session SET temperature_c = 30 WHERE seq = 1`}},
		{"a horn changed", "changed-horn", "Alder", "horn show", []string{`UPDATE horn_revision SET bore_mm = 12`}},
		{"the digest changed", "digest", "", "backup rescued.db", []string{`UPDATE catalog SET digest = decode(repeat('00', 32), 'hex')`}},
		{"a session removed", "damage", "", "backup rescued.db", []string{unruly, `DELETE FROM session WHERE seq = 1`}},
		{"a horn removed", "orphan", "Alder", "backup rescued.db", []string{unruly, `DELETE FROM horn`}},
		{"the fit changed", "fit", "", "centwise fit", []string{`UPDATE fit_section SET body = '\x00'`}},
		{"an index broken off", "damage", "", "backup rescued.db", []string{`UPDATE pg_index SET indisvalid = false WHERE indexrelid = 'session_horn'::regclass`}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := smallOnServer(t)
			conn, err := s.DB().Conn(ctx)
			if err != nil {
				t.Fatal(err)
			}
			for _, q := range tc.statements {
				if _, err := conn.ExecContext(ctx, q); err != nil {
					t.Fatalf("%s: %v", q, err)
				}
			}
			conn.ExecContext(ctx, `RESET session_replication_role`)
			conn.Close()
			list, err := s.Integrity(ctx)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range list {
				if f.Kind == tc.kind && f.Subject+f.Session == tc.subject && strings.Contains(f.Repair, tc.repair) && f.Detail != "" && f.Certainty == 1 {
					return
				}
			}
			t.Errorf("not found among %+v", list)
		})
	}
}

func TestDamagedFitOnServer(t *testing.T) {
	s := smallOnServer(t)
	sum := sha256.Sum256([]byte("profiles"))
	if _, err := s.DB().Exec(`UPDATE fit_section SET body = $1, checksum = $2 WHERE name = 'items'`, []byte("profilez"), sum[:]); err != nil {
		t.Fatal(err)
	}
	wantKind(t, s.LoadFit(ctx, drop, "items"), catalog.NotFound, `"items"`, "damaged", "centwise fit")
}

// Tables taken away under an open store are a clear error.
func TestTablesTakenAway(t *testing.T) {
	s := smallOnServer(t)
	if _, err := s.DB().Exec(`DROP TABLE reading`); err != nil {
		t.Fatal(err)
	}
	for _, err := range s.Measurements(ctx, 0) {
		wantKind(t, err, catalog.Unavailable, "its tables are not those of a catalog")
	}
	_, err := s.Integrity(ctx)
	wantKind(t, err, catalog.Unavailable, "its tables are not those of a catalog")
}

// A section of a fit may be large: it is stored whole and comes back so, in one
// piece.
func TestLargeSectionOnServer(t *testing.T) {
	s := serverStore(t)
	body := make([]byte, 120_000_000)
	for i := range body {
		body[i] = byte(i * i >> 7)
	}
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{"draws": body}}); err != nil {
		t.Fatal(err)
	}
	read := 0
	err := s.LoadFit(ctx, func(_ catalog.StoredFit, _ string, b []byte) error {
		read = len(b)
		return nil
	})
	if err != nil || read != len(body) {
		t.Errorf("%d bytes, error %v", read, err)
	}
}
