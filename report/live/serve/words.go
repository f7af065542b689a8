package serve

import (
	"embed"
	"fmt"
	"io/fs"
	"strings"
)

//go:embed assets
var assets embed.FS

// Words are the texts of the page by key.
type Words map[string]string

// ReadWords reads the words of the shell and words/*.txt of the panels' assets:
// lines "key = text"; "#" begins a comment. A repeated key is an error.
func ReadWords(panels fs.FS) (Words, error) {
	w := Words{}
	shell, err := fs.Sub(assets, "assets")
	if err != nil {
		return nil, err
	}
	for _, from := range []fs.FS{shell, panels} {
		names, err := fs.Glob(from, "words/*.txt")
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			text, err := fs.ReadFile(from, name)
			if err != nil {
				return nil, err
			}
			if err := w.add(name, string(text)); err != nil {
				return nil, err
			}
		}
	}
	return w, nil
}

func (w Words) add(name, text string) error {
	n := 0
	for line := range strings.Lines(text) {
		n++
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		key, value, ok := strings.Cut(line, " = ")
		if !ok {
			return fmt.Errorf("%s:%d: want key = text", name, n)
		}
		if _, twice := w[key]; twice {
			return fmt.Errorf("%s:%d: %s is there already", name, n, key)
		}
		w[key] = strings.TrimSpace(value)
	}
	return nil
}

// say returns the text of a key, with arguments put in as fmt does. A key
// without a text is an error: a template that names one does not render.
func (w Words) say(key string, args ...any) (string, error) {
	text, ok := w[key]
	if !ok {
		return "", fmt.Errorf("no words for %q", key)
	}
	if len(args) == 0 {
		return text, nil
	}
	return fmt.Sprintf(text, args...), nil
}

// Say returns the text of a key, with arguments put in as fmt does. A missing
// text shows as its key.
func (w Words) Say(key string, args ...any) string {
	text, err := w.say(key, args...)
	if err != nil {
		return key
	}
	return text
}
