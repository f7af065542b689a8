package logbook_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"quietmount/magmath/heading"
	"quietmount/survey/logbook"
	"quietmount/survey/verify"
)

func someChoice() *logbook.Choice {
	return &logbook.Choice{
		Format: 1, Chosen: time.Date(2026, 6, 1, 15, 4, 5, 0, time.FixedZone("", 3600)), Tool: "test", Craft: "Möwe", CraftSHA256: "ab",
		Date: "2026-06-01", BudgetDeg: 5, SteadyUT: 100, Obstacles: []string{}, Cautions: []string{"one"},
		Spot: logbook.ChosenSpot{
			Rank: 2, XMM: -60, YMM: 12.5, ZMM: -20, HeightMM: 40, NearestStation: "B4", ShiftingDeg: &heading.Quantiles{Estimate: 1.5, Upper95: 3},
			ExtrapolationFactor: 1, WorstCombination: []string{"left thruster"}, WithinBudget: true, WithinSteady: true,
		},
		Runs: []logbook.ChoiceRun{{Run: 1, State: "background", File: "runs/0001-background.jsonl", SHA256: "cd"}},
	}
}

func TestChoiceComesBack(t *testing.T) {
	dir := t.TempDir()
	if _, err := logbook.LoadChoice(dir); !errors.Is(err, logbook.ErrNoChoice) {
		t.Errorf("of an empty folder: %v", err)
	}
	want := someChoice()
	for range 2 { // the second replaces the first
		if err := logbook.SaveChoice(dir, want); err != nil {
			t.Fatal(err)
		}
	}
	got, err := logbook.LoadChoice(dir)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(want)
	b, _ := json.Marshal(got)
	if !bytes.Equal(a, b) {
		t.Errorf("came back as\n%s\nwant\n%s", b, a)
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("%d files in the folder, want the choice alone", len(entries))
	}
}

func TestChoiceIsRefused(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"newer", `{"format": 2}`, "newer"},
		{"none", `{}`, "no format"},
		{"torn", `{"format": 1, "spot": {`, "unexpected end"},
		{"far", `{"format": 1, "spot": {"x_mm": 1e9}}`, "kilometre"},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, logbook.ChoiceFile), []byte(c.text), 0o666); err != nil {
			t.Fatal(err)
		}
		_, err := logbook.LoadChoice(dir)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), logbook.ChoiceFile) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
		found := false
		for _, p := range verify.Folder(t.Context(), dir) {
			found = found || (p.Severity == verify.SeverityError && filepath.Base(p.Remark.Place.File) == logbook.ChoiceFile)
		}
		if !found {
			t.Errorf("%s: verify finds nothing wrong with it", c.name)
		}
	}
}

// A choice that cannot be put in place leaves the earlier one.
func TestChoiceFailsWhole(t *testing.T) {
	dir := t.TempDir()
	if err := logbook.SaveChoice(filepath.Join(dir, "missing"), someChoice()); err == nil {
		t.Error("saved into a folder that is not there")
	}
	bad := someChoice()
	bad.Spot.XMM = 1e9
	if err := logbook.SaveChoice(dir, bad); err == nil {
		t.Error("saved a place that cannot be")
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 0 {
		t.Errorf("%d files left behind", len(entries))
	}
}

func FuzzReadChoice(f *testing.F) {
	data, err := json.Marshal(someChoice())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"format":1,"spot":{"x_mm":null,"steady_ut":{}},"runs":[null]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := logbook.ReadChoice(bytes.NewReader(data))
		if err != nil {
			return
		}
		out, err := json.Marshal(c)
		if err != nil {
			t.Fatalf("accepted but cannot be written: %v", err)
		}
		again, err := logbook.ReadChoice(bytes.NewReader(out))
		if err != nil {
			t.Fatalf("written but not read: %v\n%s", err, out)
		}
		if again.At() != c.At() {
			t.Fatalf("place %v came back as %v", c.At(), again.At())
		}
	})
}
