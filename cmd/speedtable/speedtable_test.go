package main

import (
	"bytes"
	"context"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestParse(t *testing.T) {
	o, err := parse([]string{"-sessions", "20, 300", "-runs", "2"}, io.Discard)
	if err != nil || !slices.Equal(o.sessions, []int{20, 300}) || o.runs != 2 {
		t.Errorf("%+v, %v", o, err)
	}
	for _, args := range [][]string{{"-sessions", "9"}, {"-sessions", "ten"}, {"-runs", "0"}, {"all"}} {
		if _, err := parse(args, io.Discard); err == nil {
			t.Errorf("%v was taken", args)
		}
	}
}

func TestRowIsLeastMedianAndGreatest(t *testing.T) {
	ms := func(n ...int) (out []time.Duration) {
		for _, x := range n {
			out = append(out, time.Duration(x)*time.Millisecond)
		}
		return out
	}
	for _, tc := range []struct {
		row  row
		want string
	}{
		{row{times: ms(30, 10, 20), memory: 5 << 20}, "10 / 20 / 30, 5"},
		{row{times: ms(7)}, "7"},
	} {
		if got := tc.row.String(); got != tc.want {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}

// Every command of the table works on a catalog as small as can be.
func TestTableOfATinyCatalog(t *testing.T) {
	var out bytes.Buffer
	if err := run(context.Background(), options{sessions: []int{20}, runs: 2, seed: 1}, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "| 20 sessions, ") {
		t.Errorf("no head in\n%s", &out)
	}
	if n := len(regexp.MustCompile(`(?m)^\| [a-z].* \| \d+( / \d+ / \d+)?(, \d+)? \|$`).FindAllString(out.String(), -1)); n != 15 {
		t.Errorf("%d commands with figures, want 15:\n%s", n, &out)
	}
}
