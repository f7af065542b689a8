package logbook_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
	"quietmount/survey/number"
	"quietmount/survey/verify"
)

func TestSwingFilesComeBack(t *testing.T) {
	dir := logbooktest.Folder(t)
	h := logbook.SwingHeader{Header: logbooktest.Header(survey.StateUnpowered), What: logbook.SwingHeadings, Reference: logbook.ReferenceLine, ZeroDeg: 12.5, ZeroSUDeg: 0.4, HeadingSU: 1, Calibrated: true, ReferenceFrom: "the quay", Spot: &logbook.Mounted{52, -156, -20, 40}}
	w, err := logbook.CreateSwing(dir, h)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := logbook.CreateSwing(dir, h); err == nil {
		t.Error("two write at once")
	}
	c := logbook.Capture{Number: 1, Station: "045", Time: logbooktest.Start, Samples: []survey.Sample{{TS: 1}}}
	if err := w.Append(c); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	h.What = logbook.SwingArrow
	second, err := logbook.CreateSwing(dir, h)
	if err != nil {
		t.Fatal(err)
	}
	logbooktest.Close(t, second)
	all, err := logbook.LoadSwings(dir)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d swings, %v", len(all), err)
	}
	got := all[0].Swing
	if got.What != logbook.SwingHeadings || got.Reference != logbook.ReferenceLine || got.ZeroDeg != 12.5 || got.ZeroSUDeg != 0.4 || !got.Calibrated || got.ReferenceFrom != "the quay" ||
		got.Run != 1 || got.Craft != h.Craft || len(all[0].Captures) != 1 || all[0].Captures[0].Station != "045" {
		t.Errorf("%+v", got)
	}
	if got.Spot == nil || *got.Spot != *h.Spot {
		t.Errorf("the spot came back as %+v", got.Spot)
	}
	if all[1].Swing.What != logbook.SwingArrow || all[1].Header.Run != 2 {
		t.Errorf("%+v", all[1].Swing)
	}
	for _, p := range verify.Folder(t.Context(), dir) {
		if strings.Contains(p.Remark.Place.File, logbook.SwingFolder) {
			t.Error(p)
		}
	}
	name := filepath.Join(dir, logbook.SwingFolder, "0001.jsonl")
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(b, `{"kind":"capt`...), 0o644); err != nil {
		t.Fatal(err)
	}
	if all, err := logbook.LoadSwings(dir); err != nil || len(all[0].Warnings) != 1 || len(all[0].Captures) != 1 {
		t.Errorf("a torn line: %v", err)
	}
	if err := os.WriteFile(name, bytes.Replace(b, []byte(`"what":"swing"`), []byte(`"what":"dance"`), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := logbook.LoadSwings(dir); err == nil {
		t.Error("a dance is a swing")
	}
	h.What = "dance"
	if _, err := logbook.CreateSwing(dir, h); err == nil {
		t.Error("a dance was begun")
	}
}

func FuzzReadSwing(f *testing.F) {
	line, err := logbook.EncodeSwingHeader(logbook.SwingHeader{Header: logbook.Header{State: survey.StateUnpowered, Run: 1}, What: logbook.SwingHeadings, HeadingSU: 1})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(line)
	f.Add(append(line, `{"kind":"capture","capture":1,"station":"090","columns":["t_s","bx_ut","by_ut","bz_ut"],"samples":[[1,2,3,4]]}`...))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := logbook.ReadSwing(bytes.NewReader(b), "fuzz")
		if err != nil {
			return
		}
		for _, c := range s.Valid() {
			if len(c.Samples) > 0 && !number.Finite(c.Samples[0].B.X) {
				t.Fatal("a sample is not finite")
			}
		}
	})
}
