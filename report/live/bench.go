package live

import (
	"context"
	"sync"
	"time"

	"quietmount/survey"
	"quietmount/survey/link"
	"quietmount/survey/standing"
)

// Options are what the page needs from outside.
type Options struct {
	Dir   string           // the craft folder; the only one that is read or written
	Tool  string           // version, for run headers and sheets
	Hosts []string         // exact Host headers to answer to, "127.0.0.1:8123"; the first names the cookie
	Now   func() time.Time // the clock
	Token func() string    // unguessable words, each once: crypto/rand.Text

	// Standing says where the job of the folder stands.
	Standing func() (*standing.Standing, error)
	// Ports lists the serial ports; Open opens one, or what takes its place.
	Ports func() ([]link.PortInfo, error)
	Open  func(ctx context.Context, port string, baud int) (link.Source, error)
	// Port is opened at once if it is not empty; Baud is the usual speed.
	Port string
	Baud int
}

// Bench is what the panels share: the craft folder, the probe, the stream to the
// pages and the words.
type Bench struct {
	opts   Options
	words  words
	stream *Stream
	probe  *Probe
	walker *walker
	ctx    context.Context // ends with the server; what outlives a request runs under it

	mu     sync.Mutex // of the folder as it was read last
	folder readFolder

	computing sync.Mutex // one computation at a time
	kept      memory
	computed  *computed // under computing
	jobs      jobs
}

// Dir is the craft folder.
func (b *Bench) Dir() string { return b.opts.Dir }

// Tool is the version, for headers and sheets.
func (b *Bench) Tool() string { return b.opts.Tool }

// Now is the time.
func (b *Bench) Now() time.Time { return b.opts.Now() }

// Stream goes to every page that follows.
func (b *Bench) Stream() *Stream { return b.stream }

// Probe is the one link to the module.
func (b *Bench) Probe() *Probe { return b.probe }

// Words is the text of a key in assets/words, with arguments put in as fmt does.
func (b *Bench) Words(key string, args ...any) string { return b.words.must(key, args...) }

// Context ends with the server: for work that goes on after the request that
// began it.
func (b *Bench) Context() context.Context { return b.ctx }

// Standing is where the job stands.
func (b *Bench) Standing() (*standing.Standing, error) { return b.opts.Standing() }

// Walking reports whether a run is under way on this page, which holds the
// folder's lock and the operator.
func (b *Bench) Walking() bool { return b.walker.active() }

// Folder is the craft folder as it is now. It is read again only when a file in
// it changed, and shared: do not change what it holds. The error is that of
// survey.OpenFolder: a *survey.NoCraftError, survey.CraftErrors, a damaged run.
func (b *Bench) Folder() (*survey.Folder, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.folder.read(b.opts.Dir)
}

// Once computes an answer that depends on nothing but the craft folder and the
// key, and keeps it until the folder changes. One computation runs at a time,
// for all panels, so that findings need not be safe for several goroutines as
// long as they are used within compute only. An error is not kept.
func (b *Bench) Once(key string, compute func() (any, error)) (any, error) {
	b.computing.Lock()
	defer b.computing.Unlock()
	print := fingerprint(b.opts.Dir)
	if v, ok := b.kept.get(print, key); ok {
		return v, nil
	}
	v, err := compute()
	if err == nil {
		b.kept.put(print, key, v)
	}
	return v, err
}

// memory keeps answers that belong to one state of the folder.
type memory struct {
	print string
	vals  map[string]any
}

// maxKept bounds the answers kept, since keys may carry what a page asked.
const maxKept = 64

func (m *memory) get(print, key string) (any, bool) {
	if m.print != print {
		return nil, false
	}
	v, ok := m.vals[key]
	return v, ok
}

func (m *memory) put(print, key string, v any) {
	if m.print != print || m.vals == nil || len(m.vals) >= maxKept {
		m.print, m.vals = print, map[string]any{}
	}
	m.vals[key] = v
}
