package live

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"sync"
	"time"

	"quietmount/report/live/conduct"
	"quietmount/report/live/serve"
	"quietmount/survey/link"
	"quietmount/survey/progress"
)

//go:embed assets
var embedded embed.FS

// Options are what the page needs from outside.
type Options struct {
	Dir   string           // the craft folder; the only one that is read or written
	Tool  string           // version, for run headers and sheets
	Hosts []string         // exact Host headers to answer to, "127.0.0.1:8123"; the first names the cookie
	Now   func() time.Time // the clock
	Token func() string    // unguessable words, each once: crypto/rand.Text

	// Job returns where the folder's job stands.
	Job func() (*progress.Job, error)
	// Ports lists the serial ports; Open opens one, or what takes its place.
	Ports func() ([]link.PortInfo, error)
	Open  func(ctx context.Context, port string, baud int) (link.Source, error)
	// Port is opened at once if it is not empty; Baud is the usual speed.
	Port string
	Baud int
}

// bench is what the panels share: the craft folder with what was computed from
// it, guided work, the stream to the pages, and the words.
type bench struct {
	Options
	work   *conduct.Conductor
	stream *serve.Stream
	words  serve.Words
	cache  *cache
}

// Server is the bench page.
type Server struct {
	*serve.Server
	bench *bench
}

// New prepares a bench page. It reads and writes nothing outside the craft
// folder, and opens no port before Serve.
func New(o Options) (*Server, error) {
	if o.Now == nil || o.Token == nil || o.Job == nil || o.Ports == nil || o.Open == nil || len(o.Hosts) == 0 {
		return nil, errors.New("bench page: clock, tokens, state of the job, ports and hosts are all needed")
	}
	assets, err := fs.Sub(embedded, "assets")
	if err != nil {
		return nil, fmt.Errorf("bench page: %w", err)
	}
	words, err := serve.ReadWords(assets)
	if err != nil {
		return nil, fmt.Errorf("bench page: %w", err)
	}
	b := &bench{Options: o, words: words, stream: serve.NewStream(o.Token()[:8])}
	b.cache = newCache(o.Now, func(key string) string { return fingerprint(o.Dir, inputs(key)) }, func(key string) {
		b.stream.Show(firstWord(key)+"_ready", map[string]int64{"at_ms": o.Now().UnixMilli()})
	})
	b.stream.Deserted = func() { b.cache.deserted(b.stream.Followers) }
	b.work = conduct.New(conduct.Options{Dir: o.Dir, Tool: o.Tool, Now: o.Now, Open: o.Open, Stream: b.stream, Say: words.Say})
	page, err := serve.New(serve.Options{
		Hosts: o.Hosts, Now: o.Now, Token: o.Token, Tool: o.Tool, Words: words, Stream: b.stream,
		Assets: assets, Panels: b.panels(), Path: b.path,
	})
	if err != nil {
		return nil, err
	}
	return &Server{page, b}, nil
}

// Serve answers on the listeners until ctx ends. A run under way is then stopped
// as the operator's stop does, and can be resumed.
func (s *Server) Serve(ctx context.Context, listeners ...net.Listener) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var wg sync.WaitGroup
	wg.Go(func() { s.bench.watch(ctx) })
	s.bench.work.Start(ctx)
	wg.Go(func() { s.bench.work.OpenNamed(s.bench.Port, s.bench.Baud) })
	err := s.Server.Serve(ctx, func() {
		s.bench.work.Close()
		s.bench.cache.close()
	}, listeners...)
	cancel()
	wg.Wait()
	return err
}

// Words returns the text of a key, with arguments put in as fmt does.
func (b *bench) Words(key string, args ...any) string { return b.words.Say(key, args...) }
