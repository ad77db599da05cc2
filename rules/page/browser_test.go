package page

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// This file drives a real browser over its debugging pipe (the DevTools
// protocol: JSON messages that end with a zero byte). Every wait has an end.

// browserNames are looked for in the path, in this order.
var browserNames = []string{"chromium", "chromium-browser", "google-chrome", "chrome"}

const browserWait = 60 * time.Second

// browser is a running Chromium with one page.
type browser struct {
	t       *testing.T
	out     *os.File
	session string

	mu      sync.Mutex // guards the rest
	next    int
	waiting map[int]chan message
	trouble []string // what the console said, and what was asked of hosts
}

type message struct {
	ID     int             `json:"id,omitempty"`
	Method string          `json:"method,omitempty"`
	Params json.RawMessage `json:"params,omitempty"`
	Result json.RawMessage `json:"result,omitempty"`
	Error  *struct {
		Message string `json:"message"`
	} `json:"error,omitempty"`
	Session string `json:"sessionId,omitempty"`
}

// newBrowser starts Chromium; the test ends here, passed, where there is none.
func newBrowser(t *testing.T) *browser {
	t.Helper()
	path := ""
	for _, name := range browserNames {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium is installed; pages were not opened")
	}
	ctx, stop := context.WithTimeout(context.Background(), 10*browserWait)
	cmd := exec.CommandContext(ctx, path, "--headless", "--no-sandbox", "--remote-debugging-pipe", "--enable-unsafe-swiftshader", "--hide-scrollbars",
		"--force-color-profile=srgb", "--no-first-run", "--disable-background-networking", "--user-data-dir="+t.TempDir(), "about:blank")
	toR, toW, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	fromR, fromW, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.ExtraFiles = []*os.File{toR, fromW}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	toR.Close()
	fromW.Close()
	b := &browser{t: t, out: toW, waiting: map[int]chan message{}}
	read := make(chan struct{})
	go func() { defer close(read); b.read(fromR) }()
	t.Cleanup(func() {
		b.call("Browser.close", nil)
		_ = cmd.Wait()
		stop()
		<-read
		toW.Close()
		fromR.Close()
	})
	target := b.call("Target.createTarget", map[string]any{"url": "about:blank"})["targetId"]
	b.session, _ = b.call("Target.attachToTarget", map[string]any{"targetId": target, "flatten": true})["sessionId"].(string)
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		b.call(domain+".enable", nil)
	}
	return b
}

func (b *browser) read(from *os.File) {
	r := bufio.NewReaderSize(from, 1<<20)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			break
		}
		var m message
		if json.Unmarshal(bytes.TrimSuffix(text, []byte{0}), &m) != nil {
			continue
		}
		b.mu.Lock()
		if c, ok := b.waiting[m.ID]; ok && m.ID != 0 {
			delete(b.waiting, m.ID)
			c <- m
		} else {
			b.note(m)
		}
		b.mu.Unlock()
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for id, c := range b.waiting { // it ended
		delete(b.waiting, id)
		close(c)
	}
}

// note keeps errors of the console and requests to hosts.
func (b *browser) note(m message) {
	text := string(m.Params)
	switch m.Method {
	case "Runtime.exceptionThrown", "Page.javascriptDialogOpening":
		b.trouble = append(b.trouble, text)
	case "Runtime.consoleAPICalled":
		if strings.Contains(text, `"type":"error"`) || strings.Contains(text, `"type":"warning"`) || strings.Contains(text, "No 3D") {
			b.trouble = append(b.trouble, text)
		}
	case "Log.entryAdded":
		if strings.Contains(text, `"level":"error"`) || strings.Contains(text, `"level":"warning"`) && !strings.Contains(text, "GL Driver Message") {
			b.trouble = append(b.trouble, text)
		}
	case "Network.requestWillBeSent":
		var p struct{ Request struct{ URL string } }
		if json.Unmarshal(m.Params, &p) == nil && !strings.HasPrefix(p.Request.URL, "file:") && !strings.HasPrefix(p.Request.URL, "data:") {
			b.trouble = append(b.trouble, "asked for "+p.Request.URL)
		}
	}
}

// call sends a command and waits for its answer.
func (b *browser) call(method string, params any) map[string]any {
	b.t.Helper()
	c := make(chan message, 1)
	b.mu.Lock()
	b.next++
	id := b.next
	b.waiting[id] = c
	b.mu.Unlock()
	text, err := json.Marshal(map[string]any{"id": id, "method": method, "params": params, "sessionId": b.session})
	if b.session == "" {
		text, err = json.Marshal(map[string]any{"id": id, "method": method, "params": params})
	}
	if err != nil {
		b.t.Fatal(err)
	}
	if _, err := b.out.Write(append(text, 0)); err != nil {
		b.t.Errorf("%s: %v", method, err)
		return nil
	}
	select {
	case m, ok := <-c:
		if method == "Browser.close" {
			return nil
		}
		if !ok || m.Error != nil {
			b.t.Fatalf("%s: ended %t, %+v", method, !ok, m.Error)
		}
		var out map[string]any
		if err := json.Unmarshal(m.Result, &out); err != nil {
			b.t.Fatal(err)
		}
		return out
	case <-time.After(browserWait):
		b.t.Fatalf("%s: no answer", method)
	}
	return nil
}

// do evaluates script and returns its value; a promise is waited for.
func (b *browser) do(script string) any {
	b.t.Helper()
	r := b.call("Runtime.evaluate", map[string]any{"expression": script, "returnByValue": true, "awaitPromise": true})
	if e := r["exceptionDetails"]; e != nil {
		b.t.Fatalf("%s: %v", script, e)
	}
	result, _ := r["result"].(map[string]any)
	return result["value"]
}

// settled is a script that waits for what was asked for to be drawn.
const settled = `new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(true))))`

// open shows a file and waits until the page says that it is ready.
func (b *browser) open(path string, wide, high int, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": wide, "height": high, "deviceScaleFactor": 1, "mobile": false})
	b.call("Emulation.setEmulatedMedia", map[string]any{"media": "", "features": []map[string]string{{"name": "prefers-color-scheme", "value": scheme}, {"name": "prefers-reduced-motion", "value": "reduce"}}})
	b.call("Page.navigate", map[string]any{"url": "about:blank"})
	b.call("Page.navigate", map[string]any{"url": "file://" + path})
	b.do(`new Promise((ok, no) => { const end = Date.now() + 30000, look = () => document.documentElement?.dataset.ready ? ok(true) : Date.now() > end ? no('not ready') : setTimeout(look, 20); look(); })`)
	b.do(settled)
}

func (b *browser) key(key string) {
	code := 0
	if len(key) == 1 {
		code = int(strings.ToUpper(key)[0])
	}
	for _, kind := range []string{"keyDown", "keyUp"} {
		p := map[string]any{"type": kind, "key": key, "windowsVirtualKeyCode": code}
		if len(key) == 1 && kind == "keyDown" {
			p["text"] = key
		}
		if key == "Enter" && kind == "keyDown" {
			p["text"] = "\r"
		}
		if n, ok := map[string]int{"Tab": 9, "Enter": 13, "Escape": 27, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40}[key]; ok {
			p["windowsVirtualKeyCode"] = n
		}
		b.call("Input.dispatchKeyEvent", p)
	}
	if key != "Tab" {
		b.do(settled)
	}
}

func (b *browser) click(x, y float64) {
	for _, kind := range []string{"mousePressed", "mouseReleased"} {
		b.call("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1})
	}
	b.do(settled)
}

// picture is what the window shows.
func (b *browser) picture() image.Image {
	b.t.Helper()
	data, _ := b.call("Page.captureScreenshot", map[string]any{"format": "png"})["data"].(string)
	raw, err := base64.StdEncoding.DecodeString(data)
	if err != nil {
		b.t.Fatal(err)
	}
	if dir := os.Getenv("CORBEL_SHOTS"); dir != "" { // to look at
		b.mu.Lock()
		b.next++
		n := b.next
		b.mu.Unlock()
		_ = os.WriteFile(fmt.Sprintf("%s/%s-%04d.png", dir, strings.ReplaceAll(b.t.Name(), "/", "-"), n), raw, 0o600)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		b.t.Fatal(err)
	}
	return img
}

// pdf is the page on paper, as text of the file.
func (b *browser) pdf() []byte {
	b.t.Helper()
	data, _ := b.call("Page.printToPDF", map[string]any{"preferCSSPageSize": true, "printBackground": true})["data"].(string)
	raw, err := base64.StdEncoding.DecodeString(data)
	if err != nil {
		b.t.Fatal(err)
	}
	if dir := os.Getenv("CORBEL_SHOTS"); dir != "" {
		_ = os.WriteFile(dir+"/"+b.t.Name()+".pdf", raw, 0o600)
	}
	return raw
}

// quiet fails the test where the console said something or a host was asked.
func (b *browser) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.trouble {
		b.t.Errorf("the browser says: %s", s)
	}
	b.trouble = nil
}
