package craftfile

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"quietmount/magmath/simtest"
)

// uncommented is the starter with every key in force.
func uncommented(src []byte) []byte {
	return regexp.MustCompile(`(?m)^#([\[a-z])`).ReplaceAll(src, []byte("$1"))
}

func TestStarterParsesAtEverySize(t *testing.T) {
	sizes := []float64{50, 63.7, 305, 1000, 20_000}
	if simtest.Whole() {
		sizes = []float64{50, 63.7, 100, 181, 305, 450, 700, 1000, 1500, 2540, 6000, 20_000}
	}
	for _, kind := range starterKinds() {
		for _, length := range sizes {
			for _, width := range sizes {
				if length > 20*width || width > 20*length {
					continue // no craft
				}
				t.Run(fmt.Sprintf("%s %g by %g", kind, length, width), func(t *testing.T) {
					checkStarter(t, StarterOptions{Kind: kind, LengthMM: length, WidthMM: width})
				})
			}
		}
	}
}

func checkStarter(t *testing.T, o StarterOptions) {
	src, err := Starter(o)
	if err != nil {
		t.Fatal(err)
	}
	for i, src := range [][]byte{src, uncommented(src)} {
		c, err := Parse(src, "starter.toml")
		if err != nil {
			t.Fatal(err)
		}
		if n := len(c.Stations()) - len(c.Singles); n < 20 || n > 60 {
			t.Errorf("%d stations, want 20 to 60", n)
		}
		box := c.Body.OutlineMM.Bounds()
		if got := box.Max.X - box.Min.X; math.Abs(got-o.LengthMM) > 0.2 {
			t.Errorf("length %g, want %g", got, o.LengthMM)
		}
		if got := box.Max.Y - box.Min.Y; math.Abs(got-o.WidthMM) > 0.2 {
			t.Errorf("width %g, want %g", got, o.WidthMM)
		}
		if len(c.Remarks) > 0 {
			t.Errorf("remarks %v", c.Remarks)
		}
		if want := 4 * i; len(c.Parts) != want || len(c.Loads) != 2 {
			t.Errorf("%d parts, %d loads", len(c.Parts), len(c.Loads))
		}
		for _, p := range c.Parts {
			if p.SlideMM != nil && p.SlideMM[0] >= p.SlideMM[1] {
				t.Errorf("slide %v", p.SlideMM)
			}
		}
	}
}

// Every key of every section stands in the starter, and nothing else does.
func TestStarterDocumentsEveryKey(t *testing.T) {
	for _, kind := range starterKinds() {
		src, err := Starter(StarterOptions{Kind: kind})
		if err != nil {
			t.Fatal(err)
		}
		root, err := parseTree(uncommented(src), "starter")
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range sections() {
			tables := []*node{root}
			if s.name != "" {
				n := root.fields[s.name]
				if n == nil {
					t.Errorf("%s: no %s", kind, s.heading())
					continue
				}
				if tables = n.items; n.kind == kindTable {
					tables = []*node{n}
				}
			}
			for _, key := range s.keys {
				found := false
				for _, table := range tables {
					found = found || table.fields[key] != nil
				}
				if !found {
					t.Errorf("%s: no %s in %s", kind, key, s.heading())
				}
			}
		}
		for _, word := range []string{"REPLACE", "invented", "propellers off", "default"} {
			if !bytes.Contains(src, []byte(word)) {
				t.Errorf("%s: the starter does not say %q", kind, word)
			}
		}
	}
}

func TestStarterOptions(t *testing.T) {
	lat, lon := 53.3, -9.1
	src, err := Starter(StarterOptions{Kind: StarterHull, Name: `the "Curlew" \ 2`, LatitudeDeg: &lat, LongitudeDeg: &lon})
	if err != nil {
		t.Fatal(err)
	}
	c, err := Parse(src, "")
	if err != nil {
		t.Fatal(err)
	}
	if c.Name != `the "Curlew" \ 2` || c.Site.LatitudeDeg != lat || c.Site.LongitudeDeg != lon {
		t.Errorf("name %q, site %+v", c.Name, c.Site)
	}
	far := 91.0
	for _, o := range []StarterOptions{
		{}, {Kind: "rover"}, {Kind: StarterWing, LengthMM: 49}, {Kind: StarterWing, WidthMM: math.NaN()},
		{Kind: StarterWing, Name: "a\nb"}, {Kind: StarterWing, LatitudeDeg: &far, LongitudeDeg: &lon},
	} {
		if src, err := Starter(o); err == nil || src != nil {
			t.Errorf("%+v: %v", o, err)
		}
	}
}

// An inch is 25.4 mm and a foot 12 inches by the international agreement of
// 1959.
func TestParseLength(t *testing.T) {
	for s, want := range map[string]float64{
		"305": 305, "305 mm": 305, "305mm": 305, "30.5 cm": 305, "30,5 cm": 305, "0.7 m": 700, ",7 m": 700, "12in": 304.8,
		`12"`: 304.8, "12 inches": 304.8, "12″": 304.8, `7 1/2"`: 190.5, "7-1/2 in": 190.5, "1/2 in": 12.7, "2 ft": 609.6,
		"1'": 304.8, "1200": 1200, "0,125 m": 125, " 5 ": 5, "5 MM": 5, "121/2 mm": 60.5,
	} {
		if got, err := ParseLength(s); err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q: %g, %v, want %g", s, got, err, want)
		}
	}
	for _, s := range []string{"", "mm", "1,200", "-5", "5 miles", "NaN", "inf", "1e3", "1/0 in", "1.2.3", "5 5", ".", "0x10", "1_000", strings.Repeat("9", 400)} {
		if got, err := ParseLength(s); err == nil {
			t.Errorf("%q is %g", s, got)
		}
	}
}

func TestStarterForm(t *testing.T) {
	f := NewStarterForm(StarterOptions{})
	for _, step := range []struct {
		key, reply string
		wrong      bool
	}{
		{"kind", "rover", true},
		{"kind", "Hull", false},
		{"name", "", false},
		{"length", "long", true},
		{"length", "1 in", true},
		{"length", "27 1/2 in", false},
		{"width", "25,4 cm", false},
		{"latitude", "99", true},
		{"latitude", "nan", true},
		{"latitude", "0x1p3", true},
		{"latitude", "1_0", true},
		{"latitude", "53,3 n", false},
		{"longitude", "-inf", true},
		{"longitude", "9.1° W", false},
	} {
		q, ok := f.Question()
		if !ok || q.Key != step.key || q.Ask.IsZero() || q.Default == "" {
			t.Fatalf("question %+v, %v, want %s", q, ok, step.key)
		}
		if err := f.Answer(step.reply); (err != nil) != step.wrong {
			t.Fatalf("%s %q: %v", step.key, step.reply, err)
		}
	}
	if q, ok := f.Question(); ok {
		t.Errorf("one more question: %+v", q)
	}
	if err := f.Answer("x"); err == nil {
		t.Error("an answer was taken without a question")
	}
	o := f.Options()
	if o.Kind != StarterHull || o.Name != "my hull" || math.Abs(o.LengthMM-698.5) > 1e-9 || o.WidthMM != 254 || *o.LatitudeDeg != 53.3 || *o.LongitudeDeg != -9.1 {
		t.Errorf("options %+v", o)
	}
}

func TestStarterFormSkipsWhatIsKnown(t *testing.T) {
	f := NewStarterForm(StarterOptions{Kind: StarterWing, Name: "Plover", LengthMM: 900})
	for _, key := range []string{"width", "latitude"} {
		if q, ok := f.Question(); !ok || q.Key != key {
			t.Fatalf("question %+v, %v, want %s", q, ok, key)
		}
		if err := f.Answer(""); err != nil {
			t.Fatal(err)
		}
	}
	if _, ok := f.Question(); ok {
		t.Error("longitude is asked for though the latitude was left for later")
	}
	if o := f.Options(); o.WidthMM != 1500 || o.LatitudeDeg != nil {
		t.Errorf("options %+v", o)
	}
}

// starterKinds are all kinds.
func starterKinds() []StarterKind {
	return []StarterKind{StarterWing, StarterMultirotor, StarterHull}
}
