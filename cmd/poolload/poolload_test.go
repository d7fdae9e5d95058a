package main

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
)

func TestParse(t *testing.T) {
	o, err := parse([]string{"-sessions", "200", "-clients", "3", "-seconds", "0.5"}, io.Discard)
	if err != nil || o.sessions != 200 || o.clients != 3 || o.each != 500*time.Millisecond {
		t.Errorf("%+v, %v", o, err)
	}
	for _, args := range [][]string{{"-sessions", "9"}, {"-clients", "0"}, {"-clients", "1000"}, {"-seconds", "0"}, {"-seconds", "9999"}, {"all"}} {
		if _, err := parse(args, io.Discard); err == nil {
			t.Errorf("%v was taken", args)
		}
	}
}

func TestRowsAndTheirTable(t *testing.T) {
	l := load{"odd ones fail", func(_ context.Context, n int) (int, int, error) {
		switch n % 3 {
		case 1:
			return 503, 0, nil
		case 2:
			return 0, 0, errors.New("cut off")
		}
		return 200, 1000, nil
	}, 30}
	r := l.run(context.Background(), options{clients: 4, each: time.Minute})
	if len(r.times) != 10 || r.failed != 20 || r.bytes != 10_000 {
		t.Errorf("%d answers, %d failed, %d bytes", len(r.times), r.failed, r.bytes)
	}
	r = row{name: "a", took: 2 * time.Second, bytes: 4e6}
	for i := range 100 {
		r.times = append(r.times, time.Duration(100-i)*time.Millisecond)
	}
	var b strings.Builder
	if err := (&table{sessions: 5, readings: 6, clients: 7, rows: []row{r}, memory: 9 << 20}).write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"5 sessions, 6 readings; 7 clients", "| a | 50 | 51.0 | 96.0 | 100.0 | 2.0 | 0 |", "The server held 9 MB at most."} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, &b)
		}
	}
}
