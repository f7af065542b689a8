package live

import (
	"fmt"
	"io/fs"
	"strings"
)

// words are all texts of the page by key, from assets/words.
type words map[string]string

// readWords reads every file of assets/words: lines "key = text", "#" begins a
// comment. A key that stands twice is an error.
func readWords(assets fs.FS) (words, error) {
	names, err := fs.Glob(assets, "assets/words/*.txt")
	if err != nil {
		return nil, err
	}
	w := words{}
	for _, name := range names {
		text, err := fs.ReadFile(assets, name)
		if err != nil {
			return nil, err
		}
		if err := w.add(name, string(text)); err != nil {
			return nil, err
		}
	}
	return w, nil
}

func (w words) add(name, text string) error {
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
			return fmt.Errorf("%s:%d: %s stands twice", name, n, key)
		}
		w[key] = strings.TrimSpace(value)
	}
	return nil
}

// say is the text of a key, with arguments put in as fmt does. A key without a
// text is an error, so that a template that names one does not render.
func (w words) say(key string, args ...any) (string, error) {
	text, ok := w[key]
	if !ok {
		return "", fmt.Errorf("no words for %q", key)
	}
	if len(args) == 0 {
		return text, nil
	}
	return fmt.Sprintf(text, args...), nil
}

// must is say for the package's own code; a missing text shows as its key.
func (w words) must(key string, args ...any) string {
	text, err := w.say(key, args...)
	if err != nil {
		return key
	}
	return text
}
