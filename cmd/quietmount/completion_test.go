package main

import (
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A real bash completes commands, flags and folders with the script.
func TestBashCompletion(t *testing.T) {
	t.Parallel()
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("no bash here")
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "mycraft", "craft.toml"), "")
	script := must(t, dir, "completion", "bash").out
	write(t, filepath.Join(dir, "completion.bash"), script)
	if !strings.Contains(script, "-o default") {
		t.Error("bash is not told to complete folders by itself")
	}
	for _, tt := range []struct {
		line string
		want []string
	}{
		{"quietmount ver", []string{"verify"}},
		{"quietmount ra", []string{"rank"}},
		{"quietmount field --la", []string{"--lat"}},
		{"quietmount map myc", nil}, // left to bash itself, which knows folders
		{"quietmount map mycraft --ru", []string{"--runs"}},
	} {
		words := strings.Fields(tt.line)
		quoted := "'" + strings.Join(words, "' '") + "'"
		code := `source completion.bash
COMP_WORDS=(` + quoted + `); COMP_CWORD=$((${#COMP_WORDS[@]}-1))
COMP_LINE='` + tt.line + `'; COMP_POINT=${#COMP_LINE}
f=$(complete -p quietmount | sed 's/.*-F \([^ ]*\).*/\1/')
"$f" quietmount "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD-1]}"
printf '%s\n' "${COMPREPLY[@]}"`
		cmd := exec.Command(bash, "--norc", "-c", code)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", tt.line, err, out)
		}
		got := strings.Fields(string(out))
		for i := range got {
			got[i] = strings.TrimSuffix(got[i], "/")
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s completes to %q, want %q", tt.line, got, tt.want)
		}
	}
	for _, shell := range []string{"zsh", "fish", "pwsh"} {
		if out := must(t, dir, "completion", shell).out; !strings.Contains(out, "quietmount") {
			t.Errorf("%s: %q", shell, out)
		}
	}
	if r := call(t, dir, "completion", "dos"); r.status != 2 {
		t.Errorf("an unknown shell: exit status %d", r.status)
	}
	if r := call(t, dir, "completion"); r.status != 2 {
		t.Errorf("no shell: exit status %d", r.status)
	}
}
