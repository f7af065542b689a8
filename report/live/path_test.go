package live

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"quietmount/survey/craftfile"
	"quietmount/survey/progress"
)

// TestEveryStepOfTheJobHasAPlaceOnThePath: whatever the standing asks for next
// is a step that the page shows as next, and every step of the job belongs to
// just one of the path, the map apart, which grows with the walks.
func TestEveryStepOfTheJobHasAPlaceOnThePath(t *testing.T) {
	s := quietBench(t)
	at, err := s.bench.Job()
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range at.Steps {
		on := slices.DeleteFunc(placesOf(step), func(name string) bool { return name == stepMap })
		if len(on) != 1 || !slices.Contains(stepNames(), on[0]) {
			t.Errorf("the step %s %s belongs to %q", step.Kind, step.State, on)
		}
	}
	_, steps := s.bench.path()
	if len(steps) != 11 || steps[0].State != "done" {
		t.Fatalf("%+v", steps)
	}
	next := 0
	for _, step := range steps {
		if step.State == "next" {
			next++
		}
	}
	if next != 1 {
		t.Errorf("%d steps are next: %+v", next, steps)
	}
}

func TestThePathOfAFolderWithoutACraft(t *testing.T) {
	dir := t.TempDir()
	s := benchAt(t, dir)
	s.bench.Job = func() (*progress.Job, error) { return progress.Of(progress.Folder{Dir: dir}), nil }
	if _, steps := s.bench.path(); steps[0].Name != stepDescribe || steps[0].State != "next" || steps[7].State != "open" {
		t.Errorf("%+v", steps)
	}
	for _, p := range s.bench.panels() {
		request(t, s, "/panel/"+p.Name, nil) // says so, and does not fall over
	}
	if err := os.WriteFile(filepath.Join(dir, craftfile.Name), []byte("name = 3"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.bench.Job = func() (*progress.Job, error) { return jobOf(t.Context(), dir) }
	if _, steps := s.bench.path(); steps[0].State != "begun" || steps[0].Detail == "" {
		t.Errorf("a craft file with errors: %+v", steps)
	}
}
