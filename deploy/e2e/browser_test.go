package e2e_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/pikepole/pikepole/deploy/testkit"
)

// browser is a real browser with one tab. It notes what the console says and whom pages ask.
type browser struct {
	ctx  context.Context
	base string

	mu    sync.Mutex
	noise []string
}

// openBrowser starts Chromium with a profile of its own.
func openBrowser(t *testing.T, base string) *browser {
	t.Helper()
	path := testkit.Need(t, testkit.ChromiumEnv, "chromium")
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
	)
	ctx, cancel := context.WithTimeout(context.Background(), 4*time.Minute)
	ctx, stopAllocator := chromedp.NewExecAllocator(ctx, options...)
	ctx, stop := chromedp.NewContext(ctx)
	b := &browser{ctx: ctx, base: base}
	var listening sync.WaitGroup
	console, requests := chromedp.Console(ctx), chromedp.Events(ctx, network.RequestWillBeSent)
	listening.Go(func() {
		for m, err := range console {
			if err == nil && (m.IsException() || m.Type == chromedp.ConsoleError || m.Type == chromedp.ConsoleWarning) {
				b.note("console: " + m.String() + " " + m.URL)
			}
		}
	})
	listening.Go(func() {
		for e, err := range requests {
			if err == nil && !strings.HasPrefix(e.Request.URL, base+"/") && !strings.HasPrefix(e.Request.URL, "data:") {
				b.note("asks outside: " + e.Request.URL)
			}
		}
	})
	t.Cleanup(func() {
		stop()
		stopAllocator()
		cancel()
		listening.Wait()
	})
	// A window that nobody looks at has no focus to show.
	b.do(t, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
		return err
	}))
	return b
}

func (b *browser) note(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.noise = append(b.noise, what)
}

// quiet wants that nothing was noted since the last time.
func (b *browser) quiet(t *testing.T, where string) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, n := range b.noise {
		t.Errorf("%s: %s", where, n)
	}
	b.noise = nil
}

func (b *browser) do(t *testing.T, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

func evaluate[T any](t *testing.T, b *browser, script string) T {
	t.Helper()
	value, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		t.Fatalf("%s: %v", script, err)
	}
	return value
}

// until waits until a script is true on the page. When the page goes away in the meantime, it
// asks the next one.
func (b *browser) until(t *testing.T, what, script string) {
	t.Helper()
	for began := time.Now(); ; {
		left := patience - time.Since(began)
		_, err := chromedp.Run(b.ctx, chromedp.Poll[bool](script, chromedp.WithPollingTimeout(max(left, time.Millisecond))))
		if err == nil {
			return
		}
		if left <= 0 || b.ctx.Err() != nil {
			t.Fatalf("%s does not come: %v\n%s", what, err, clip([]byte(evaluate[string](t, b, "document.body.innerText"))))
		}
	}
}

// press goes with the tab key to the element for which a script says yes, and presses enter.
func (b *browser) press(t *testing.T, what, isIt string) {
	t.Helper()
	const most = 400
	for range most {
		if evaluate[bool](t, b, "(e => !!("+isIt+"))(document.activeElement)") {
			if !evaluate[bool](t, b, `document.activeElement.matches(":focus-visible") && getComputedStyle(document.activeElement).outlineStyle !== "none"`) {
				t.Errorf("one cannot see that the focus is on %s", what)
			}
			if _, err := chromedp.RunResponse(b.ctx, chromedp.KeyEvent(kb.Enter)); err != nil {
				t.Fatalf("enter on %s: %v", what, err)
			}
			return
		}
		b.do(t, chromedp.KeyEvent(kb.Tab))
	}
	t.Fatalf("%d tabs do not lead to %s", most, what)
}

// screens are the two sizes that pages are looked at in.
var screens = []struct {
	name          string
	width, height int64
}{{"phone", 390, 844}, {"laptop", 1366, 768}}

// look opens a page at both sizes: it fits, it has a heading and its title block, its targets
// are large enough on a phone, and nobody complains. It keeps pictures of it.
func (b *browser) look(t *testing.T, folder, path string) {
	t.Helper()
	for _, s := range screens {
		where := path + " on a " + s.name
		b.do(t, chromedp.EmulateViewport(s.width, s.height), chromedp.Navigate(b.base+path))
		if wide := evaluate[int64](t, b, "document.documentElement.scrollWidth"); wide > s.width {
			t.Errorf("%s: the page is %d pixels wide, the screen %d", where, wide, s.width)
		}
		if headings := evaluate[int](t, b, `document.querySelectorAll("h1").length`); headings != 1 {
			t.Errorf("%s: %d main headings", where, headings)
		}
		if broken := evaluate[[]string](t, b, `[...document.images].filter(i => i.loading !== "lazy" && !(i.complete && i.naturalWidth)).map(i => i.src)`); len(broken) > 0 {
			t.Errorf("%s: pictures that do not load: %v", where, broken)
		}
		if nameless := evaluate[[]string](t, b, `[...document.querySelectorAll("input:not([type=hidden]),select,textarea")].filter(e => !e.labels.length && !e.ariaLabel).map(e => e.name)`); len(nameless) > 0 {
			t.Errorf("%s: fields without a label: %v", where, nameless)
		}
		if small := evaluate[[]string](t, b, `[...document.querySelectorAll("button,summary,.main-button")].filter(e => { const r = e.getBoundingClientRect(); return r.height && r.height < 44 }).map(e => e.innerText)`); s.name == "phone" && len(small) > 0 {
			t.Errorf("%s: targets lower than 44 pixels: %v", where, small)
		}
		picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		name := regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(path, "-") + "-" + s.name + ".png"
		if err := os.WriteFile(filepath.Join(folder, strings.Trim(name, "-")), picture, 0o600); err != nil {
			t.Fatal(err)
		}
		b.quiet(t, where)
	}
}

// TestBrowser reads the pages as the lead does: signs in by link, goes to a job with the
// keyboard alone, sees an entry arrive, posts one, looks at every page at both sizes, signs out.
func TestBrowser(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	b := openBrowser(t, s.URL)
	folder := t.ArtifactDir()
	t.Logf("pictures are in %s", folder)
	b.do(t, chromedp.Navigate(s.URL+"/signin?code="+url.QueryEscape(s.SignInCode)))
	b.press(t, "the sign-in button", `e.matches("button.main-button")`)
	b.until(t, "the list of jobs", `location.pathname === "/jobs" && document.querySelector("h1").innerText === "Jobs"`)
	if text := evaluate[string](t, b, "document.body.innerText"); !strings.Contains(text, "Cabin above Sorrel Lake") || strings.Contains(text, "Woodshed") {
		t.Errorf("the list of jobs says:\n%s", text)
	}
	cookie := evaluate[string](t, b, "document.cookie")
	if cookie != "" {
		t.Errorf("scripts can read a cookie: %s", cookie)
	}
	b.press(t, "the cabin", `e.matches("a") && e.innerText.includes("Cabin")`)
	job := "/jobs/" + s.Jobs["cabin"]
	b.until(t, "the job's page", fmt.Sprintf("location.pathname === %q", job))
	b.quiet(t, "on the way to the job")
	b.live(t, s)
	b.post(t, job)
	for _, path := range []string{"/jobs", job, job + "/takeoff", job + "/picks", job + "/raising", job + "/layout", job + "/log", job + "/drawings/plan", job + "/drawings/axon"} {
		b.look(t, folder, path)
	}
	b.signOut(t)
	b.look(t, folder, "/signin")
}

// live wants an entry that somebody else posts to appear by itself.
func (b *browser) live(t *testing.T, s *testkit.Suite) {
	t.Helper()
	b.until(t, "the live connection", `document.getElementById("live-state").innerText.includes("by themselves")`)
	entry := map[string]any{"entries": []any{map[string]any{
		"id": "seen-live", "kind": "ENTRY_KIND_NOTE", "note": "The crane is at the gate", "occurTime": time.Now().UTC().Add(-time.Minute).Format(time.RFC3339),
	}}}
	client{s.URL, s.Keys["field"]}.send(t, http.MethodPost, "/v1/jobs/"+s.Jobs["cabin"]+"/entries:post", entry, http.StatusOK, nil)
	b.until(t, "the new entry", `document.getElementById("live").innerText.includes("The crane is at the gate")`)
	b.quiet(t, "while an entry arrived")
}

// post posts a note through the form of the log.
func (b *browser) post(t *testing.T, job string) {
	t.Helper()
	b.do(t, chromedp.Navigate(b.base+job+"/log#post"))
	b.do(t, chromedp.Evaluate[chromedp.Void](`void document.querySelectorAll("details").forEach(d => { d.open = d.querySelector("#note-note") !== null })`))
	b.do(t, chromedp.SendKeys(chromedp.CSS("#note-note"), "Tag lines are on"))
	b.press(t, "the button that posts", `e.matches("button.main-button") && e.form.contains(document.getElementById("note-note"))`)
	b.until(t, "the word that it is posted", `document.body.innerText.includes("Posted") && document.body.innerText.includes("Tag lines are on")`)
	b.quiet(t, "while posting")
}

// signOut ends the session: the pages are closed afterwards.
func (b *browser) signOut(t *testing.T) {
	t.Helper()
	b.do(t, chromedp.Navigate(b.base+"/jobs"))
	b.press(t, "the button that signs out", `e.form && e.form.action.endsWith("/signout")`)
	b.do(t, chromedp.Navigate(b.base+"/jobs"))
	b.until(t, "the question who one is", `location.pathname === "/signin"`)
	b.quiet(t, "while signing out")
}
