package survey

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSwingFilesComeBack(t *testing.T) {
	dir := logbookFolder(t)
	h := SwingHeader{Header: logbookHeader(StateUnpowered), What: SwingHeadings, Reference: ReferenceLine, ZeroDeg: 12.5, ZeroSUDeg: 0.4, HeadingSU: 1, Calibrated: true, ReferenceIn: "the quay", Spot: &Mounted{52, -156, -20, 40}}
	w, err := CreateSwing(dir, h)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := CreateSwing(dir, h); err == nil {
		t.Error("two write at once")
	}
	c := Capture{Number: 1, Station: "045", Time: logbookStart, Samples: []Sample{{TS: 1}}}
	if err := w.Append(c); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	h.What = SwingArrow
	second, err := CreateSwing(dir, h)
	if err != nil {
		t.Fatal(err)
	}
	mustClose(t, second)
	all, err := LoadSwings(dir)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d swings, %v", len(all), err)
	}
	got := all[0].Swing
	if got.What != SwingHeadings || got.Reference != ReferenceLine || got.ZeroDeg != 12.5 || got.ZeroSUDeg != 0.4 || !got.Calibrated || got.ReferenceIn != "the quay" ||
		got.Run != 1 || got.Craft != h.Craft || len(all[0].Captures) != 1 || all[0].Captures[0].Station != "045" {
		t.Errorf("%+v", got)
	}
	if got.Spot == nil || *got.Spot != *h.Spot {
		t.Errorf("the spot came back as %+v", got.Spot)
	}
	if all[1].Swing.What != SwingArrow || all[1].Header.Run != 2 {
		t.Errorf("%+v", all[1].Swing)
	}
	for _, p := range VerifyFolder(dir) {
		if strings.Contains(p.File, SwingFolder) {
			t.Error(p)
		}
	}
	name := filepath.Join(dir, SwingFolder, "0001.jsonl")
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(b, `{"kind":"capt`...), 0o644); err != nil {
		t.Fatal(err)
	}
	if all, err := LoadSwings(dir); err != nil || len(all[0].Warnings) != 1 || len(all[0].Captures) != 1 {
		t.Errorf("a torn line: %v", err)
	}
	if err := os.WriteFile(name, bytes.Replace(b, []byte(`"what":"swing"`), []byte(`"what":"dance"`), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadSwings(dir); err == nil {
		t.Error("a dance is a swing")
	}
	h.What = "dance"
	if _, err := CreateSwing(dir, h); err == nil {
		t.Error("a dance was begun")
	}
}

func FuzzReadSwing(f *testing.F) {
	line, err := encodeSwingHeader(SwingHeader{Header: Header{State: StateUnpowered, Run: 1}, What: SwingHeadings, HeadingSU: 1})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(line)
	f.Add(append(line, `{"kind":"capture","capture":1,"station":"090","columns":["t_s","bx_ut","by_ut","bz_ut"],"samples":[[1,2,3,4]]}`...))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := ReadSwing(bytes.NewReader(b), "fuzz")
		if err != nil {
			return
		}
		for _, c := range s.Valid() {
			if len(c.Samples) > 0 && !finite(c.Samples[0].B.X) {
				t.Fatal("a sample is not finite")
			}
		}
	})
}
