package craftfile_test

import (
	"bytes"
	"strings"
	"testing"

	"quietmount/magmath"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook/logbooktest"
)

func TestStoreAxes(t *testing.T) {
	left := magmath.Mat3{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}} // the sensor's x points to the left
	base := strings.Replace(logbooktest.Craft, "[module]", "[module] # what will be mounted", 1)
	for name, text := range map[string]string{
		"none":       dropAxes(base),
		"letters":    withAxes(base, `axes = ["+x", "+y", "+z"]   # as it came`),
		"many lines": withAxes(base, "axes = [ # x, y, z\n  [1, 0, 0],\n  [0, 1, 0], # right\n  [0, 0, 1]\n] # as it came"),
		"CR LF":      strings.ReplaceAll(withAxes(base, `axes = "+x, +y, +z" # as it came`), "\n", "\r\n"),
	} {
		t.Run(name, func(t *testing.T) {
			out, err := craftfile.StoreAxes([]byte(text), "module", left)
			if err != nil {
				t.Fatal(err)
			}
			c, err := craftfile.Parse(out, craftfile.Name)
			if err != nil || *c.Module.Axes != left {
				t.Fatalf("%v, %v\n%s", c.Module.Axes, err, out)
			}
			if !bytes.Contains(out, []byte(`axes = ["-y", "+x", "+z"]`)) {
				t.Errorf("not the letters:\n%s", out)
			}
			for _, kept := range []string{"# what will be mounted", "# as it came"} {
				if strings.Contains(text, kept) && !bytes.Contains(out, []byte(kept)) {
					t.Errorf("the comment %q is gone:\n%s", kept, out)
				}
			}
			again, err := craftfile.StoreAxes(out, "module", left)
			if err != nil || !bytes.Equal(again, out) {
				t.Errorf("storing twice changes the file (%v)", err)
			}
		})
	}
	if _, err := craftfile.StoreAxes([]byte(base), "probe", left); err == nil || !strings.Contains(err.Error(), "by hand") {
		t.Errorf("a table that is not there: %v", err)
	}
	mirrored := magmath.Diagonal(1, -1, 1)
	out, err := craftfile.StoreAxes([]byte(base), "module", mirrored)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := craftfile.Parse(out, craftfile.Name); err != nil || !craftfile.CloseTo(*c.Module.Axes, mirrored) {
		t.Errorf("mirrored axes: %v", err)
	}
}

func dropAxes(text string) string {
	var out []string
	for line := range strings.Lines(text) {
		if !strings.HasPrefix(strings.TrimSpace(line), "axes") {
			out = append(out, line)
		}
	}
	return strings.Join(out, "")
}

func withAxes(text, line string) string {
	return strings.Replace(dropAxes(text), "[module] # what will be mounted\n", "[module] # what will be mounted\n"+line+"\n", 1)
}

func FuzzStoreAxes(f *testing.F) {
	f.Add([]byte(logbooktest.Craft))
	f.Add([]byte("[module]\naxes = [\n\"+x\", # x\n\"+y\",\"+z\"] # end\n[craft]\n"))
	f.Add([]byte("[module] # [craft]\naxes='+x,+y,+z'"))
	left := magmath.Mat3{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}}
	f.Fuzz(func(t *testing.T, src []byte) {
		kept := bytes.Clone(src)
		out, err := craftfile.StoreAxes(src, "module", left)
		if !bytes.Equal(src, kept) {
			t.Fatal("the source was changed")
		}
		if err != nil {
			return
		}
		c, err := craftfile.Parse(out, "fuzz")
		if err != nil || c.Module.Axes == nil || !craftfile.CloseTo(*c.Module.Axes, left) {
			t.Fatalf("stored and not found: %v\n%s", err, out)
		}
	})
}
