package live

import (
	"bytes"
	"encoding/json"
	"html/template"
	"io/fs"
	"net/http"
	"slices"
	"strings"

	"quietmount/report/say"
)

// pages holds the templates and the two assets, each made once.
type pages struct {
	templates *template.Template
	words     words
	css, js   []byte
}

func newPages(w words, all []Panel) (*pages, error) {
	t, err := template.New("page").Funcs(template.FuncMap{
		"say":      w.say,
		"lower":    strings.ToLower,
		"num":      number,
		"sentence": sentenceOf,
		"micro":    func(s string) string { return strings.ReplaceAll(s, " uT", " µT") }, // the terminal's texts are ASCII
		"odd":      func(n int) bool { return n%2 == 1 },
		"pct":      func(share float64) string { return number(0, 100*share) },
	}).ParseFS(assets, "assets/*.html")
	if err != nil {
		return nil, err
	}
	p := &pages{templates: t, words: w}
	if p.css, err = joined("assets/page.css", "assets/*.css"); err != nil {
		return nil, err
	}
	p.js, err = joined("assets/page.js", "assets/*.js")
	for _, panel := range all {
		if t.Lookup(panel.Name) == nil {
			return nil, &missingTemplate{panel.Name}
		}
	}
	return p, err
}

// sentenceOf begins and ends a text as a sentence does; a question stays one.
func sentenceOf(text string) string {
	if text == "" {
		return ""
	}
	text = say.Capital(text)
	if strings.HasSuffix(text, "?") || strings.HasSuffix(text, ".") || strings.HasSuffix(text, "!") {
		return text
	}
	return text + "."
}

type missingTemplate struct{ panel string }

// Error names the file that is missing.
func (e *missingTemplate) Error() string {
	return "assets/" + e.panel + `.html must define "` + e.panel + `"`
}

// joined is a file and the others of a pattern after it, in the order of their names.
func joined(first, pattern string) ([]byte, error) {
	names, err := fs.Glob(assets, pattern)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	names = slices.DeleteFunc(names, func(name string) bool { return name == first })
	for _, name := range append([]string{first}, names...) {
		b, err := assets.ReadFile(name)
		if err != nil {
			return nil, err
		}
		out.Write(b)
		out.WriteByte('\n')
	}
	return out.Bytes(), nil
}

func (p *pages) fragment(name string, data any) ([]byte, error) {
	var b bytes.Buffer
	err := p.templates.ExecuteTemplate(&b, name, data)
	return b.Bytes(), err
}

func (p *pages) style(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	_, _ = w.Write(p.css) // a page that is gone needs no answer
}

func (p *pages) script(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	_, _ = w.Write(p.js)
}

// shellData is what the shell shows before its script has run.
type shellData struct {
	Nonce string
	Craft string
	Tool  string
	Steps []PathStep
	Panel map[string][]string // names of the panels by step
	Words template.JS         // JSON
}

// shell is the page itself. Each answer has a nonce of its own, which the
// policy demands of script and style.
func (s *Server) shell(w http.ResponseWriter, r *http.Request) {
	craft, steps := s.bench.pathSteps()
	text, err := json.Marshal(s.bench.words)
	if err != nil {
		s.replyError(w, err)
		return
	}
	d := shellData{
		Nonce: s.opts.Token(), Craft: craft, Tool: s.opts.Tool, Steps: steps,
		Panel: map[string][]string{}, Words: template.JS(text), // json.Marshal escapes <, > and &
	}
	for _, p := range s.order {
		d.Panel[p.Step] = append(d.Panel[p.Step], p.Name)
	}
	body, err := s.pages.fragment("page", d)
	if err != nil {
		s.replyError(w, err)
		return
	}
	w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'nonce-"+d.Nonce+"'; style-src 'nonce-"+d.Nonce+
		"'; connect-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	s.reply(w, http.StatusOK, body)
}
