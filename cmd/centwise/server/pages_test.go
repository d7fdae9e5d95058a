package server_test

import (
	"encoding/base64"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
	"centwise/cmd/centwise/show"
)

// browser are the headers of somebody who looks at pages.
func browser(s catalog.Secret) []string {
	return []string{"Accept", "text/html,application/xhtml+xml", "Authorization", "Basic " + base64.StdEncoding.EncodeToString([]byte("anybody:"+s.Reveal()))}
}

// look asks for a page.
func (r running) look(secret catalog.Secret, path string, header ...string) (*http.Response, string) {
	r.Helper()
	answer, body := r.ask("GET", path, nil, append(browser(secret), header...)...)
	return answer, string(body)
}

var reference = regexp.MustCompile(`(?:href|action)="([^"#]+)"`)

// Every link of every page leads to a page, and every page has the headers that
// keep it harmless.
func TestEveryPage(t *testing.T) {
	r := start(t, orchestra(t), nil)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.ready()
	seen, queue, kinds := map[string]bool{"/": true}, []string{"/"}, map[string]int{}
	for len(queue) > 0 {
		path := queue[0]
		queue = queue[1:]
		answer, body := r.look(secret, path)
		if answer.StatusCode != 200 || answer.Header.Get("Content-Type") != "text/html; charset=utf-8" {
			t.Fatalf("%s: status %d, %.300s", path, answer.StatusCode, body)
		}
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Cache-Control": "private, no-cache", "Referrer-Policy": "same-origin", "Vary": "Authorization", "Cross-Origin-Resource-Policy": "same-origin",
			"Content-Security-Policy": "default-src 'none'; style-src " + show.StyleSource() + "; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
		} {
			if got := answer.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
		for _, bad := range []string{"<script", "reed-otter", "cold hall", secret.Reveal(), "style="} {
			if strings.Contains(body, bad) {
				t.Errorf("%s holds %q", path, bad)
			}
		}
		at := must(url.Parse(r.URL + path))(t)
		for _, m := range reference.FindAllStringSubmatch(body, -1) {
			to := must(at.Parse(html.UnescapeString(m[1])))(t)
			if to.Host != at.Host {
				t.Errorf("%s leads to %s", path, to)
			}
			next := to.RequestURI()
			if part, _, _ := strings.Cut(strings.TrimPrefix(to.Path, "/"), "/"); !seen[next] && kinds[part] < 12 {
				seen[next] = true
				queue = append(queue, next)
				kinds[part]++ // there are many, one like the other
			}
		}
	}
	if len(seen) < 30 {
		t.Errorf("%d pages", len(seen))
	}
}

// Pages ask for a token, unless they are for everybody.
func TestWhoSeesPages(t *testing.T) {
	r := start(t, orchestra(t), nil)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.ready()
	answer, body := r.ask("GET", "/horns", nil, "Accept", "text/html")
	if answer.StatusCode != 401 || !strings.Contains(string(body), "A token is needed.") || !strings.Contains(string(body), "<p>Say who you are.</p>") || !strings.HasPrefix(answer.Header.Get("WWW-Authenticate"), "Basic ") || answer.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("status %d, %v", answer.StatusCode, answer.Header)
	}
	if strings.Contains(string(body), "Alder") {
		t.Error("a page that refuses tells of the pool")
	}
	if answer, _ := r.look(catalog.NewSecret(), "/horns"); answer.StatusCode != 401 {
		t.Errorf("a wrong token: %d", answer.StatusCode)
	}
	if answer, _ := r.look(secret, "/horns"); answer.StatusCode != 200 {
		t.Errorf("a token: %d", answer.StatusCode)
	}
	if answer, _ := r.ask("GET", "/horns", nil, bearer(secret)...); answer.StatusCode != 200 {
		t.Errorf("a bearer token: %d", answer.StatusCode)
	}
	answer, body = r.ask("GET", "/v1/status", nil, browser(secret)...)
	r.problem(answer, body, 401, "bad-token")
	answer, body = r.ask("POST", "/horns", []byte("x"), bearer(secret)...)
	r.problem(answer, body, 405, "wrong-method")

	public := start(t, orchestra(t), func(c *server.Config) { c.PublicPages = true })
	public.ready()
	answer, body = public.ask("GET", "/horns", nil, "Accept", "text/html")
	if answer.StatusCode != 200 || !strings.Contains(string(body), "Alder") || answer.Header.Get("Cache-Control") != "public, no-cache" {
		t.Errorf("status %d, %v", answer.StatusCode, answer.Header)
	}
	answer, body = public.ask("GET", "/v1/records", nil)
	public.problem(answer, body, 401, "no-token")
}

// Whoever has a page already does not get it again, until what it shows changes.
func TestPagesNotModified(t *testing.T) {
	r := start(t, orchestra(t), nil)
	secret := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	r.ready()
	answer, _ := r.look(secret, "/setups")
	tag := answer.Header.Get("ETag")
	for _, header := range []string{tag, `"x", ` + tag, "W/" + tag, "*"} {
		answer, body := r.look(secret, "/setups", "If-None-Match", header)
		if answer.StatusCode != 304 || body != "" || answer.Header.Get("ETag") != tag || answer.Header.Get("Content-Security-Policy") == "" {
			t.Errorf("If-None-Match %s: status %d with %d bytes", header, answer.StatusCode, len(body))
		}
	}
	for _, path := range []string{"/horns", "/setups?page=1", "/setups?q=x"} {
		if answer, _ := r.look(secret, path, "If-None-Match", tag); answer.StatusCode != 200 {
			t.Errorf("%s has the tag of /setups", path)
		}
	}
	from := newStore(t)
	servertest.Band(t, from, 1)
	r.receipt(r.post(secret, servertest.Bundle(t, from, servertest.Everything)))
	r.until("another setup", func() bool {
		answer, body := r.look(secret, "/setups", "If-None-Match", tag)
		return answer.StatusCode == 200 && strings.Contains(body, "57 setups")
	})
}

// until waits for something.
func (r running) until(what string, is func() bool) {
	r.Helper()
	for deadline := time.Now().Add(time.Minute); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			r.Fatalf("no %s: %.3000s", what, r.Journal)
		}
	}
}

// A server says of what it has not worked out yet, or not anew, that it has not.
func TestPagesBeforeTheFit(t *testing.T) {
	r := start(t, newStore(t), func(c *server.Config) { c.Pause = time.Hour })
	secret := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	r.until("page", func() bool {
		answer, body := r.look(secret, "/")
		return answer.StatusCode == 200 && strings.Contains(body, "Nothing was measured yet.")
	})
	for _, path := range []string{"/horns", "/mouthpieces", "/designs", "/setups", "/contributors"} {
		if answer, body := r.look(secret, path); answer.StatusCode != 200 || !strings.Contains(body, "None fits.") {
			t.Errorf("%s: %d", path, answer.StatusCode)
		}
	}
	answer, body := r.look(secret, "/horns/"+string(catalog.NewID()))
	if answer.StatusCode != 404 || !strings.Contains(body, "<p>No horn or mouthpiece of the pool has this address.</p>") {
		t.Errorf("%d", answer.StatusCode)
	}
}

// While a fit is behind, pages show the one before and say so.
func TestPagesWhileBehind(t *testing.T) {
	r := start(t, orchestra(t), func(c *server.Config) { c.Pause = 2 * time.Second })
	secret := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	r.ready()
	path := "/horns/" + string(must(r.Store.Horn(ctx, "Alder"))(t).ID) + "/rank"
	if answer, body := r.look(secret, path); answer.StatusCode != 200 || !strings.Contains(body, "Mouthpieces for Alder") || strings.Contains(body, `class="notice"`) {
		t.Errorf("%d: %.500s", answer.StatusCode, body)
	}
	from := newStore(t)
	servertest.Band(t, from, 4)
	r.receipt(r.post(secret, servertest.Bundle(t, from, servertest.Everything)))
	if answer, body := r.look(secret, path); answer.StatusCode != 200 || !strings.Contains(body, "Predictions rest on the measurements of") {
		t.Errorf("%d: %.500s", answer.StatusCode, body)
	}
	if testing.Short() {
		return // a fit takes a while
	}
	r.until("new fit", func() bool {
		_, body := r.look(secret, path)
		return !strings.Contains(body, `class="notice"`) && strings.Contains(body, "75 sessions")
	})
}

func TestListsAndTheirPages(t *testing.T) {
	r := start(t, orchestra(t), nil)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.ready()
	for path, words := range map[string][]string{
		"/mouthpieces":                               {"78 mouthpieces", "1 to 50 of 78", "Next"},
		"/mouthpieces?page=2":                        {"51 to 78 of 78", "Previous"},
		"/mouthpieces?q=PLOVER":                      {"3 mouthpieces", "Plover 16.2 second"},
		"/mouthpieces?q=tidewright+curlew":           {"2 mouthpieces", `value="tidewright curlew"`},
		"/mouthpieces?q=" + url.QueryEscape(`"><b>`): {"No mouthpiece", "None fits.", `value="&#34;&gt;&lt;b&gt;"`},
		"/setups?by=lamp-keeper":                     {"Measured by lamp-keeper", "24 setups"},
		"/setups?by=lamp-keeper&q=alder":             {"Measured by lamp-keeper", `name="by" value="lamp-keeper"`},
		"/contributors":                              {"5 contributors", "lamp-keeper", "player-"},
	} {
		answer, body := r.look(secret, path)
		for _, w := range words {
			if answer.StatusCode != 200 || !strings.Contains(strings.ToLower(body), strings.ToLower(w)) {
				t.Errorf("%s: status %d, no %q", path, answer.StatusCode, w)
			}
		}
	}
	for path, status := range map[string]int{
		"/mouthpieces?page=4": 404, "/mouthpieces?page=0": 400, "/mouthpieces?page=x": 400, "/mouthpieces?page=99999999999999999999": 400, "/horns/x": 404, "/horns/x/rank": 404,
		"/nothing": 404, "/horns/": 404, "/horns?q=" + strings.Repeat("x", 5000): 200, "/horns?q=%ff%fe": 200, "/horns?design=%00": 200,
	} {
		if answer, body := r.look(secret, path); answer.StatusCode != status || !strings.Contains(body, "<html") {
			t.Errorf("%.80s: status %d, want %d", path, answer.StatusCode, status)
		}
	}
	alder := must(r.Store.Horn(ctx, "Alder"))(t)
	curlew := must(r.Store.Mouthpiece(ctx, "Curlew 17.0"))(t)
	if answer, _ := r.look(secret, "/mouthpieces/"+string(alder.ID)); answer.StatusCode != 404 {
		t.Errorf("a horn among mouthpieces: %d", answer.StatusCode)
	}
	answer, body := r.look(secret, "/horns/"+strings.ToLower(string(alder.ID))+"/rank")
	if !strings.Contains(body, `href="../../mouthpieces/`+string(curlew.ID)+`"`) {
		t.Errorf("the rank does not lead to mouthpieces: %d, %.3000s", answer.StatusCode, body[strings.Index(body, "<main>"):])
	}
}

// Requests don't wait for whatever works on the catalog.
func TestPagesWhileTheCatalogIsWritten(t *testing.T) {
	r := start(t, orchestra(t), nil)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.ready()
	inside, done := make(chan bool), make(chan error, 1)
	go func() {
		_, err := r.Store.Merge(ctx, func(func(catalog.Pooled, error) bool) {
			inside <- true // the catalog is locked for writing
			<-inside
		})
		done <- err
	}()
	<-inside
	for _, path := range []string{"/", "/horns", "/setups"} {
		if answer, _ := r.look(secret, path); answer.StatusCode != 200 {
			t.Errorf("%s: %d", path, answer.StatusCode)
		}
	}
	inside <- true
	if err := <-done; err != nil {
		t.Error(fmt.Errorf("merging: %w", err))
	}
}
