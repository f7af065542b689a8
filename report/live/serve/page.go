package serve

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"math"
	"net/http"
	"strconv"
	"strings"

	"quietmount/report/say"
)

// pages holds the templates, the style and the script, each made once.
type pages struct {
	templates *template.Template
	css, js   []byte
}

func newPages(o Options) (*pages, error) {
	shell, err := fs.Sub(assets, "assets")
	if err != nil {
		return nil, err
	}
	p := &pages{templates: template.New("").Funcs(template.FuncMap{
		"say":      o.Words.say,
		"lower":    strings.ToLower,
		"num":      typedNumber,
		"sentence": sentence,
		"micro":    func(s string) string { return strings.ReplaceAll(s, " uT", " µT") }, // the terminal's texts are ASCII
		"list":     func(all ...any) []any { return all },                                // arguments of a template that takes several
		"odd":      func(n int) bool { return n%2 == 1 },
		"pct":      func(share float64) string { return typedNumber(0, 100*share) },
	})}
	var css, js bytes.Buffer
	for _, from := range []fs.FS{shell, o.Assets} {
		if _, err := p.templates.ParseFS(from, "*.html"); err != nil {
			return nil, err
		}
		if err := join(&css, from, "*.css"); err != nil {
			return nil, err
		}
		if err := join(&js, from, "*.js"); err != nil {
			return nil, err
		}
	}
	p.css, p.js = css.Bytes(), js.Bytes()
	for _, panel := range o.Panels {
		if p.templates.Lookup(panel.Name) == nil {
			return nil, fmt.Errorf("%s.html must define the template %q", panel.Name, panel.Name)
		}
	}
	return p, nil
}

// join appends the files of a pattern in the order of their names.
func join(out *bytes.Buffer, from fs.FS, pattern string) error {
	names, err := fs.Glob(from, pattern)
	if err != nil {
		return err
	}
	for _, name := range names {
		b, err := fs.ReadFile(from, name)
		if err != nil {
			return err
		}
		out.Write(b)
		out.WriteByte('\n')
	}
	return nil
}

// sentence begins a text with a capital letter and ends it with a full stop,
// unless it ends as a sentence already.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = say.Capital(text)
	if strings.ContainsAny(text[len(text)-1:], "?.!") {
		return text
	}
	return text + "."
}

// typedNumber writes a float64, *float64 or int with so many digits after the point;
// a dash for nil, NaN and infinity. A zero carries no sign.
func typedNumber(digits int, v any) string {
	x := math.NaN()
	switch v := v.(type) {
	case float64:
		x = v
	case *float64:
		if v != nil {
			x = *v
		}
	case int:
		x = float64(v)
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

func (p *pages) fragment(name string, data any) ([]byte, error) {
	var b bytes.Buffer
	err := p.templates.ExecuteTemplate(&b, name, data)
	return b.Bytes(), err
}

// asset answers with bytes of one media type.
func asset(kind string, body []byte) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind+"; charset=utf-8")
		_, _ = w.Write(body) // a page that is gone needs no answer
	}
}

// shellData is what the shell shows before its script has run.
type shellData struct {
	Nonce string
	Craft string
	Tool  string
	Steps []Step
	Panel map[string][]string // names of the panels by step
	Words template.JS         // JSON
}

// shell answers with the page itself. Each answer has a nonce of its own, which
// the policy demands of script and style.
func (s *Server) shell(w http.ResponseWriter, _ *http.Request) {
	craft, steps := s.opts.Path()
	text, err := json.Marshal(s.opts.Words)
	if err != nil {
		s.replyError(w, err)
		return
	}
	d := shellData{
		Nonce: s.opts.Token(), Craft: craft, Tool: s.opts.Tool, Steps: steps,
		Panel: map[string][]string{}, Words: template.JS(text), // json.Marshal escapes <, > and &
	}
	for _, p := range s.opts.Panels {
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
