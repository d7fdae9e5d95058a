// Package browsertest looks at pages in a real browser, for tests: on a phone,
// on a large screen, in light and dark, on paper.
package browsertest

import (
	"context"
	_ "embed"
	"encoding/base64"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// Variables that steer the tests.
const (
	// NeedsBrowser, if it is set, makes a missing browser a failure.
	NeedsBrowser = "CENTWISE_NEEDS_BROWSER"
	// Screenshots names a folder for pictures and prints of every page checked.
	Screenshots = "CENTWISE_SCREENSHOTS"
)

//go:embed checks.js
var checks string

// patience is for one page in all its forms on a busy machine.
const patience = 2 * time.Minute

// Browser is a running Chromium.
type Browser struct {
	tab    context.Context
	folder string // for the pages

	mu       sync.Mutex
	requests []string
}

// Start runs Chromium for a test. Where there is none the test is skipped, or
// fails if the variable [NeedsBrowser] is set. Short runs do without.
func Start(t testing.TB) *Browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes too long for a short run")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv(NeedsBrowser) != "" {
			t.Fatalf("no chromium, which %s asks for: %v", NeedsBrowser, err)
		}
		t.Skipf("no chromium to look at pages with: %v", err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path))
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox) // Chromium's sandbox refuses root
	}
	allocated, stop := chromedp.NewExecAllocator(context.Background(), options...)
	tab, closeTab := chromedp.NewContext(allocated)
	t.Cleanup(func() { closeTab(); stop() })
	b := &Browser{tab: tab, folder: t.TempDir()}
	if err := chromedp.Do(tab, enableNetwork); err != nil {
		t.Fatalf("starting %s: %v", path, err)
	}
	if err := chromedp.Listen(tab, b.note); err != nil {
		t.Fatal(err)
	}
	return b
}

var enableNetwork = chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
	_, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{})
	return err
})

// note remembers what a page asks of the network.
func (b *Browser) note(event any) {
	if r, ok := event.(*network.EventRequestWillBeSent); ok {
		b.mu.Lock()
		b.requests = append(b.requests, r.Request.URL)
		b.mu.Unlock()
	}
}

// Check looks at a page and reports everything that is wrong with it: on a phone
// of 360 pixels and a large screen, each in light and dark, and printed on A4 and
// Letter. Name is for messages and files.
//
// Nothing may be cut off, reach out of the page or lie on other text; letters
// and marks must have contrast; every chart and table must say in words what it
// shows; and the page must run no script and ask nothing of the network.
func (b *Browser) Check(t testing.TB, name string, page []byte) {
	t.Helper()
	c := &check{Browser: b, TB: t, name: name}
	address, err := c.place(page)
	if err != nil {
		t.Fatal(err)
	}
	c.inspect(address, "alone")
}

// Visit is Check of a page that a server gives under an address, to somebody with a
// name and password: it may lead to other pages of the server, and hold forms that
// do. That its headers allow what it needs shows here too.
func (b *Browser) Visit(t testing.TB, name, address, password string) {
	t.Helper()
	c := &check{Browser: b, TB: t, name: name}
	c.ctx = b.tab
	header := network.Headers{"Authorization": "Basic " + base64.StdEncoding.EncodeToString([]byte("x:"+password))}
	c.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: header})
		return err
	}))
	c.inspect(address, "served")
}

// inspect looks at the page at an address; how says what it may refer to.
func (c *check) inspect(address, how string) {
	c.Helper()
	ctx, cancel := context.WithTimeout(c.tab, patience)
	defer cancel()
	c.ctx = ctx
	c.mu.Lock()
	c.requests = nil
	c.mu.Unlock()
	c.do(chromedp.Navigate(address))
	c.complain("", "spoken")
	c.complain("", how)
	for _, view := range views {
		c.look(view)
	}
	for _, paper := range papers {
		c.print(paper)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, asked := range c.requests {
		if asked != address {
			c.Errorf("%s: asks the network for %s", c.name, asked)
		}
	}
}

// check is one page being looked at.
type check struct {
	*Browser
	testing.TB
	ctx  context.Context
	name string
}

// place writes the page to a file and gives its address.
func (c *check) place(page []byte) (string, error) {
	path := filepath.Join(c.folder, "page.html")
	if err := os.WriteFile(path, page, 0o600); err != nil {
		return "", err
	}
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String(), nil
}

func (c *check) do(steps ...chromedp.Action[chromedp.Void]) {
	c.Helper()
	if err := chromedp.Do(c.ctx, steps...); err != nil {
		c.Fatalf("%s: %v", c.name, err)
	}
}

// complain runs one of the checks and reports what it finds, the first few.
func (c *check) complain(where, what string) {
	c.Helper()
	const few = 8
	list := ask[[]string](c, what)
	for i, text := range list {
		if i == few {
			c.Errorf("%s%s: and %d more", c.name, where, len(list)-few)
			break
		}
		c.Errorf("%s%s: %s", c.name, where, text)
	}
}

// ask calls one of the functions of checks.js.
func ask[T any](c *check, what string) T {
	c.Helper()
	answer, err := chromedp.Run(c.ctx, chromedp.Evaluate[T](fmt.Sprintf("(%s).%s()", checks, what)))
	if err != nil {
		c.Fatalf("%s: %s: %v", c.name, what, err)
	}
	return answer
}

// media makes the page believe that it is on a screen or on paper, in light or
// dark.
func media(kind, scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Media: kind, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		return err
	})
}

// save keeps a picture or a print if somebody wants to look at it.
func (c *check) save(suffix string, make func() ([]byte, error)) {
	c.Helper()
	folder := os.Getenv(Screenshots)
	if folder == "" {
		return
	}
	data, err := make()
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, c.name+suffix), data, 0o644)
	}
	if err != nil {
		c.Fatal(err)
	}
}
