package craftfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/survey"
)

// small is the smallest craft file: 9 lines.
const small = `name = "a"
[site]
latitude_deg = 50
longitude_deg = 10
[craft]
outline_mm = [[0, 0], [100, 0], [100, 100], [0, 100]]
[grid]
spacing_mm = 50
`

func TestSmallCraft(t *testing.T) {
	c, err := Parse([]byte(small), "craft.toml")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(c.Stations()); n != 9 {
		t.Errorf("%d stations, want 9", n)
	}
	if c.Limits != (survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100, TiltDeg: 10, TiltAssumed: true, SlipMM: 3}) || len(c.Heights) != 1 || c.Heights[0] != 0 || c.Module.Name != "module" || c.Base != nil || c.Cable != nil || c.Balance != nil {
		t.Errorf("defaults: %+v", c)
	}
}

func TestCraftFormsOfText(t *testing.T) {
	for name, src := range map[string]string{
		"byte order mark": "\xef\xbb\xbf" + small,
		"CR LF":           strings.ReplaceAll(small, "\n", "\r\n"),
		"both":            "\xef\xbb\xbf" + strings.ReplaceAll(small, "\n", "\r\n"),
		"dotted keys":     "name = \"a\"\nsite.latitude_deg = 50\nsite.longitude_deg = 10\ncraft.outline_mm = [[0, 0], [1e2, 0], [100, 1_00], [0, 0x64]]\ngrid.spacing_mm = 50\n",
		"inline tables":   "name = \"a\"\nsite = {latitude_deg = 50, longitude_deg = 10}\ncraft = {outline_mm = [[0, 0], [100, 0], [100, 100], [0, 100]]}\nstation = [{name = \"m\", at_mm = [0, 0, 0]}]\n",
		"closed outline":  strings.Replace(small, "[0, 100]]", "[0, 100], [0, 0]]", 1),
		"date":            strings.Replace(small, "[craft]", "date = 2026-06-01\n[craft]", 1),
		"unicode":         small + "[[station]]\nname = \"Bug Mitte \u00fc\u6f22\"\nat_mm = [0, 0, 0]\n",
	} {
		if _, err := Parse([]byte(src), "craft.toml"); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCraftErrors(t *testing.T) {
	const noGrid = "name = \"a\"\n[site]\nlatitude_deg = 50\nlongitude_deg = 10\n[craft]\noutline_mm = [[0, 0], [100, 0], [100, 100], [0, 100]]\n"
	replace := func(old, by string) string {
		if !strings.Contains(small, old) {
			t.Fatalf("the small file does not hold %q", old)
		}
		return strings.Replace(small, old, by, 1)
	}
	load := "[[load]]\nname = \"motor\"\nmax_current_a = 9\n"
	for _, test := range []struct {
		name, src string
		want      string // the whole first error, or its beginning up to "..."
	}{
		{"misspelt key", replace("latitude_deg", "lattitude_deg"), `craft.toml:3:1: unknown key "lattitude_deg" in [site]; did you mean "latitude_deg"?`},
		{"exchanged letters", replace("spacing_mm", "spacign_mm"), `craft.toml:8:1: unknown key "spacign_mm" in [grid]; did you mean "spacing_mm"?`},
		{"misspelt table", replace("[grid]", "[gird]"), `craft.toml:7:2: unknown key "gird" in the top of the file; did you mean "grid"?`},
		{"key of another table", replace("spacing_mm = 50", "spacing_mm = 50\ncable_mm = 3"), `craft.toml:9:1: unknown key "cable_mm" in [grid]; it belongs in [module]`},
		{"unit left out", replace("spacing_mm", "spacing"), `craft.toml:8:1: unknown key "spacing" in [grid]; did you mean "spacing_mm"?`},
		{"key like nothing", replace("spacing_mm = 50", "spacing_mm = 50\ncolour = 3"), `craft.toml:9:1: unknown key "colour" in [grid]`},
		{"decimal comma", replace("= 10", "= 10,5"), `craft.toml:4:19: ...; a decimal takes a point: write 10.5`},
		{"negative decimal comma", replace("= 10", "= -9,10 # west"), `craft.toml:4:19: ...; a decimal takes a point: write -9.10`},
		{"bare text", replace(`"a"`, `a`), `craft.toml:1:8: ...; a text stands in quotes: write "a"`},
		{"unit written", replace("= 50\nl", "= 50\u00b0\nl"), `craft.toml:3:18: ...; the key names the unit: write the number alone`},
		{"no digit after the point", replace("= 50\nl", "= 5.\nl"), `craft.toml:3:18: ...; write a digit on each side of the point`},
		{"no digit before the point", replace("= 50\nl", "= .5\nl"), `craft.toml:3:16: ...; write a digit on each side of the point`},
		{"open quote", replace(`"a"`, `"a`), `craft.toml:1:...`},
		{"twice the same key", replace("[craft]", "latitude_deg = 51\n[craft]"), `craft.toml:5:...`},
		{"after an umlaut", "name = \"\u00fc\u00fc\" x", `craft.toml:1:13: ...`},
		{"text for number", replace("= 50\nl", "= \"50\"\nl"), `craft.toml:3:16: latitude_deg wants a number, not the text "50"; leave the quotes out`},
		{"number for text", replace(`"a"`, `12`), `craft.toml:1:8: name wants a text, not the number 12; write it in quotes: "12"`},
		{"not finite", replace("= 50\nl", "= nan\nl"), `craft.toml:3:16: latitude_deg = nan is not a finite number`},
		{"too large for a float", replace("= 50\nl", "= 1e999\nl"), `craft.toml:3:16: ...`},
		{"latitude", replace("= 50\nl", "= 90.5\nl"), `craft.toml:3:16: latitude_deg = 90.5 is out of its range: it must be -90 to 90`},
		{"longitude", replace("= 10", "= 181"), `craft.toml:4:17: longitude_deg = 181 is out of its range: it must be -180 to 180`},
		{"no latitude", replace("latitude_deg = 50\n", ""), `craft.toml:2:2: [site] needs latitude_deg; degrees north, south is negative`},
		{"no name", replace("name = \"a\"", ""), `craft.toml:1:1: the top of the file needs name...`},
		{"empty name", replace(`"a"`, `""`), `craft.toml:1:1: name is empty`},
		{"tab in name", replace(`"a"`, `"a\tb"`), `craft.toml:1:1: name holds a character that cannot be printed`},
		{"long name", replace(`"a"`, `"`+strings.Repeat("a", 61)+`"`), `craft.toml:1:1: name is longer than 60 characters`},
		{"empty file", "", `craft.toml:1:1: the top of the file needs name...`},
		{"no stations", noGrid, `craft.toml:1:1: no stations are described; add [grid] with spacing_mm, or a [[station]]`},
		{"no spacing", noGrid + "[grid]\n", `craft.toml:7:2: [grid] needs spacing_mm; millimetres between stations`},
		{"origin in space", small + "origin_mm = [1, 2, 3]\n", `craft.toml:9:14: origin_mm wants two numbers [x, y], not 3`},
		{"no node on the craft", replace("spacing_mm = 50", "spacing_mm = 300\norigin_mm = [150, 150]"), `craft.toml:8:1: no node of the grid lies on the craft; ...`},
		{"too many nodes", replace("spacing_mm = 50", "spacing_mm = 1"), `craft.toml:8:1: the grid has more than 5000 stations; make spacing_mm larger`},
		{"far too many nodes", replace("spacing_mm = 50", "spacing_mm = 1e-300"), `craft.toml:8:1: the grid has more than 5000 stations; make spacing_mm larger`},
		{"spacing not positive", replace("spacing_mm = 50", "spacing_mm = 0"), `craft.toml:8:14: spacing_mm = 0 is out of its range: it must be more than 0 and at most 100000`},
		{"bow tie", replace("[100, 0], [100, 100]", "[100, 100], [100, 0]"), `craft.toml:6:36: outline_mm: the outline crosses itself: the edge from point 1 to 2 meets the edge from point 3 to 4`},
		{"two points", replace("[[0, 0], [100, 0], [100, 100], [0, 100]]", "[[0, 0], [9, 9]]"), `craft.toml:6:16: outline_mm: an outline needs three points or more, not 2`},
		{"no area", replace("[[0, 0], [100, 0], [100, 100], [0, 100]]", "[[0, 0], [9, 9], [5, 5]]"), `craft.toml:6:16: outline_mm: all points lie on one line: the outline has no area`},
		{"same point twice", replace("[100, 0], ", "[100, 0], [100, 0], "), `craft.toml:6:34: outline_mm: points 2 and 3 are the same...`},
		{"spike", replace("[100, 0], ", "[100, 0], [200, 0], [150, 0], "), `craft.toml:6:34: outline_mm: the outline doubles back at point 3`},
		{"flat outline", replace("[[0, 0], [100, 0], [100, 100], [0, 100]]", "[0, 0, 100, 0]"), `craft.toml:6:15: outline_mm wants a list of points, not of numbers; ...`},
		{"[load]", small + "[load]\nname = \"motor\"\n", `craft.toml:9:2: "load" is a list; write [[load]], once for each`},
		{"[[site]]", replace("[site]", "[[site]]"), `craft.toml:2:3: there is only one [site]; write [site]`},
		{"site = 3", strings.Replace(noGrid, "[site]\nlatitude_deg = 50\nlongitude_deg = 10\n", "site = 3\n", 1) + "[grid]\nspacing_mm = 50\n", `craft.toml:2:8: "site" is a table, not a value; ...`},
		{"two numbers for three", small + "[[station]]\nname = \"m\"\nat_mm = [1, 2]\n", `craft.toml:11:10: at_mm wants three numbers [x, y, z], not 2`},
		{"decimal commas in a place", small + "[[station]]\nname = \"m\"\nat_mm = [1,5, 2,5, 3,5]\n", `craft.toml:11:10: at_mm wants three numbers [x, y, z], not 6; a decimal takes a point, the comma stands between two numbers`},
		{"station named as a node", small + "[[station]]\nname = \"B2\"\nat_mm = [1, 2, 3]\n", `craft.toml:10:1: the name "B2" is taken already; give it another name`},
		{"base named as a station", small + "[[station]]\nname = \"m\"\nat_mm = [1, 2, 3]\n[base]\nname = \"m\"\nat_mm = [300, 0, 0]\n", `craft.toml:13:1: the name "m" is taken already; give it another name`},
		{"base without a place", small + "[base]\n", `craft.toml:9:2: [base] needs at_mm; ...`},
		{"two loads of one name", small + load + load, `craft.toml:13:1: the name "motor" is taken already; give it another name`},
		{"load without current", small + "[[load]]\nname = \"motor\"\n", `craft.toml:9:3: [[load]] "motor" needs max_current_a; ...`},
		{"load of no current", small + "[[load]]\nname = \"motor\"\nmax_current_a = 0\n", `craft.toml:11:17: max_current_a = 0 is out of its range...`},
		{"load of no kind", small + load + "kind = \"curent\"\n", `craft.toml:12:8: kind "curent" is not known; write "current" or "moving"`},
		{"reserved load", small + "[[load]]\nname = \"unpowered\"\nmax_current_a = 1\n", `craft.toml:10:1: "unpowered" is a state of its own, not a load; give the load another name`},
		{"together with nothing", small + load + "together_with = [\"moter\"]\n[[load]]\nname = \"servo\"\nkind = \"moving\"\n", `craft.toml:12:18: together_with: no [[load]] is named "moter"; did you mean "motor"?`},
		{"together with itself", small + load + "together_with = [\"motor\"]\n", `craft.toml:12:18: together_with names the load itself; leave it out`},
		{"lead of no load", small + "[[part]]\nname = \"lead\"\npath_mm = [[0, 0, 0], [1, 1, 1]]\nload = \"motor\"\n", `craft.toml:12:8: load: no [[load]] is named "motor"; add a [[load]] with that name`},
		{"part nowhere", small + "[[part]]\nname = \"p\"\n", `craft.toml:9:3: [[part]] "p" needs at_mm or path_mm; ...`},
		{"part in two ways", small + "[[part]]\nname = \"p\"\nat_mm = [0, 0, 0]\npath_mm = [[0, 0, 0], [1, 1, 1]]\n", `craft.toml:12:1: [[part]] "p" has both at_mm and path_mm; ...`},
		{"gap of a point", small + "[[part]]\nname = \"p\"\nat_mm = [0, 0, 0]\ngap_mm = 3\n", `craft.toml:12:1: gap_mm belongs to a part with path_mm; ...`},
		{"gap and return", small + "[[part]]\nname = \"p\"\npath_mm = [[0, 0, 0], [1, 1, 1]]\ngap_mm = 3\nreturn_path_mm = [[1, 1, 1], [0, 0, 0]]\n", `craft.toml:13:1: [[part]] "p" has both gap_mm and return_path_mm; ...`},
		{"lead of one point", small + "[[part]]\nname = \"p\"\npath_mm = [[0, 0, 0]]\n", `craft.toml:11:1: path_mm wants two points or more`},
		{"negative mass", small + "[module]\nmass_g = -1\n", `craft.toml:10:10: mass_g = -1 is out of its range: it must be 0 to 10000000`},
		{"slide backwards", small + "[[part]]\nname = \"p\"\nat_mm = [0, 0, 0]\nslide_mm = [9, 3]\n", `craft.toml:12:1: slide_mm wants the smaller number first; write [3, 9]`},
		{"magnetic as a text", small + "[[part]]\nname = \"p\"\nat_mm = [0, 0, 0]\nmagnetic = \"yes\"\n", `craft.toml:12:12: magnetic wants true or false, not the text "yes"`},
		{"balance backwards", small + "[balance]\ncg_y_mm = [4, -4]\n", `craft.toml:10:1: cg_y_mm wants the smaller number first; write [-4, 4]`},
		{"empty balance", small + "[balance]\n", `craft.toml:9:2: [balance] needs cg_x_mm or cg_y_mm`},
		{"heading limit", small + "[limits]\nheading_error_deg = 181\n", `craft.toml:10:21: heading_error_deg = 181 is out of its range: it must be more than 0 and at most 180`},
		{"heights below", small + "[mount]\nheights_mm = [-30]\n", `craft.toml:10:15: heights_mm = -30 is out of its range: it must be 0 to 10000`},
		{"no heights", small + "[mount]\nheights_mm = []\n", `craft.toml:10:1: heights_mm wants a list of 1 to 50 numbers; ...`},
		{"height twice", small + "[mount]\nheights_mm = [0, 40, 40.0]\n", `craft.toml:10:22: heights_mm has 40 twice`},
		{"two heights at one place", replace("[grid]", "surface_points_mm = [[0, 0, 1], [0, 0, 2]]\n[grid]"), `craft.toml:7:34: surface_points_mm has two points at x 0, y 0; leave one out`},
		{"no such day", replace("[craft]", "date = \"2026-02-30\"\n[craft]"), `craft.toml:5:8: date "2026-02-30" is no day of the calendar in the form YYYY-MM-DD; ...`},
		{"axis twice", small + "[module]\naxes = [\"+x\", \"+x\", \"+z\"]\n", `craft.toml:10:15: axes name x twice; each of x, y and z is named once`},
		{"no axis", small + "[module]\naxes = [\"+x\", \"up\", \"+z\"]\n", `craft.toml:10:15: "up" is no axis; write +x, -x, +y, -y, +z or -z`},
		{"mirrored axes", small + "[module]\naxes = [\"+x\", \"+y\", \"-z\"]\n", `craft.toml:10:21: these axes are mirrored: ...["+x", "+y", "+z"]; for a sensor...`},
		{"skew axes", small + "[probe]\naxes = [[1, 0, 0], [0.1, 0.995, 0], [0, 0, 1]]\n", `craft.toml:10:21: axes are not at right angles and of length 1; ...`},
		{"cable from nowhere", small + "[cable]\nslack_mm = 3\n", `craft.toml:9:2: [cable] needs from_mm; ...`},
		{"a text for a list", small + "[[station]]\nname = \"m\"\nat_mm = \"B2\"\n", `craft.toml:11:9: at_mm wants three numbers [x, y, z], not the text "B2"`},
		{"a number for points", small + "[[part]]\nname = \"p\"\npath_mm = 4\n", `craft.toml:11:11: path_mm wants a list of points [[x, y, z], ...], not the number 4`},
		{"a point of two", small + "[[part]]\nname = \"p\"\npath_mm = [[1, 2, 3], [1, 2]]\n", `craft.toml:11:24: path_mm wants three numbers [x, y, z], not 2`},
		{"the same point in a path", small + "[[part]]\nname = \"p\"\npath_mm = [[1, 2, 3], [1, 2, 3]]\n", `craft.toml:11:24: path_mm has the same point twice in a row; leave one out`},
		{"a text for texts", replace("[grid]", "fitted = \"pack\"\n[grid]"), `craft.toml:7:10: fitted wants a list of texts, not the text "pack"; write it as ["...", "..."]`},
		{"a number among texts", replace("[grid]", "fitted = [\"pack\", true]\n[grid]"), `craft.toml:7:19: fitted wants texts, not true`},
		{"a date for a number", replace("= 50\nl", "= 2026-06-01\nl"), `craft.toml:3:16: latitude_deg wants a number, not the date 2026-06-01`},
		{"a number for a date", replace("[craft]", "date = 2026.5\n[craft]"), `craft.toml:5:8: date wants a day, not the number 2026.5; ...`},
		{"a place too far off", small + "[base]\nat_mm = [1e6, 0, 0]\n", `craft.toml:10:10: at_mm = 1000000 is out of its range: it must be -100000 to 100000`},
		{"UTF-16", "\xff\xfen\x00", `craft.toml:1:1: this file is written in UTF-16; save it as UTF-8`},
		{"not UTF-8", replace(`"a"`, "\"\xff\""), `craft.toml:1:...`},
		{"huge", small + strings.Repeat("#", 300_000), `craft.toml:1:1: this file is longer than 256 kB: it is no craft file`},
	} {
		t.Run(test.name, func(t *testing.T) {
			c, err := Parse([]byte(test.src), "craft.toml")
			if err == nil {
				t.Fatalf("no error, want %s", test.want)
			}
			if c != nil {
				t.Error("a craft came with the error")
			}
			first, ok := errors.AsType[*MistakeError](err)
			if !ok {
				t.Fatalf("%T, want a *MistakeError within", err)
			}
			if !matches(first.Error(), test.want) {
				t.Errorf("got  %s\nwant %s", first, test.want)
			}
		})
	}
}

// matches compares got with want, in which "..." stands for any text.
func matches(got, want string) bool {
	parts := strings.Split(want, "...")
	if !strings.HasPrefix(got, parts[0]) {
		return false
	}
	got = got[len(parts[0]):]
	for _, p := range parts[1:] {
		_, rest, found := strings.Cut(got, p)
		if !found {
			return false
		}
		got = rest
		if p == "" {
			got = ""
		}
	}
	return got == ""
}

func TestCraftErrorsInOrder(t *testing.T) {
	src := "name = 3\n[limits]\ntilt_deg = -1\nsteady = 4\n[site]\nlatitude_deg = 100\nlongitude_deg = 0\n[grid]\nspacing_mm = 20\n[craft]\noutline_mm = [[0, 0], [1, 1]]\n"
	_, err := Parse([]byte(src), "x.toml")
	all, ok := errors.AsType[Mistakes](err)
	if !ok || len(all) != 5 {
		t.Fatalf("%v", err)
	}
	for i, line := range []int{1, 3, 4, 6, 11} {
		if all[i].Line != line {
			t.Errorf("error %d is %v, want line %d", i, all[i], line)
		}
	}
	if n := strings.Count(err.Error(), "\n"); n != 4 {
		t.Errorf("%d line ends in the text of five errors", n)
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	_, err := Load(dir)
	if !errors.Is(err, fs.ErrNotExist) || err.Error() != "no craft.toml in "+dir {
		t.Errorf("no file: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, Name), []byte(small), 0o666); err != nil {
		t.Fatal(err)
	}
	if c, err := Load(dir); err != nil || c.Name != "a" {
		t.Errorf("%v, %v", c, err)
	}
	if err := os.WriteFile(filepath.Join(dir, Name), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(dir); err == nil || !strings.HasPrefix(err.Error(), "craft.toml:1:") {
		t.Errorf("no TOML: %v", err)
	}
}

// SHA-256 of "abc" is the first example of FIPS 180-4; here it is enough that
// the digest covers the file's own bytes, line ends and mark included.
func TestCraftHashCoversTheBytes(t *testing.T) {
	a, err := Parse([]byte(small), "")
	if err != nil {
		t.Fatal(err)
	}
	b, err := Parse([]byte("\xef\xbb\xbf"+small), "")
	if err != nil {
		t.Fatal(err)
	}
	if a.SHA256 == b.SHA256 {
		t.Error("two different files have one hash")
	}
}

func TestCombinationsInTheFile(t *testing.T) {
	var b strings.Builder
	b.WriteString(small)
	for i := range 21 {
		fmt.Fprintf(&b, "[[load]]\nname = \"l%d\"\nmax_current_a = 1\n", i)
	}
	if _, err := Parse([]byte(b.String()), ""); err == nil || !strings.Contains(err.Error(), ":70:1: more than 20 [[load]]") {
		t.Errorf("21 loads: %v", err)
	}
}
