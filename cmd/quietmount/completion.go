package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/survey"
	"quietmount/survey/craftfile"
)

// completionScripts pass the words typed so far, as words and never through eval,
// to the hidden command "complete", which prints one candidate per line.
// Where it prints nothing the shell offers files.
var completionScripts = map[string]string{
	"bash": `_quietmount() {
    local IFS=$'\n'
    COMPREPLY=($(quietmount complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null))
}
complete -o default -F _quietmount quietmount
`,
	"zsh": `#compdef quietmount
_quietmount() {
    local -a found
    found=("${(@f)$(quietmount complete -- "${words[@]:1:$((CURRENT - 1))}" 2>/dev/null)}")
    if [[ -n "${found[1]}" ]]; then compadd -a found; else _files; fi
}
compdef _quietmount quietmount
`,
	"fish": `complete -c quietmount -a '(quietmount complete -- (commandline -opc)[2..-1] (commandline -ct) 2>/dev/null)'
`,
	"pwsh": `Register-ArgumentCompleter -Native -CommandName quietmount -ScriptBlock {
    param($word, $tree, $cursor)
    $typed = @($tree.CommandElements | Select-Object -Skip 1 | ForEach-Object { $_.ToString() })
    if ($word -eq '') { $typed += '' }
    & quietmount complete -- @typed 2>$null | ForEach-Object {
        [System.Management.Automation.CompletionResult]::new($_, $_, 'ParameterValue', $_)
    }
}
`,
}

func runCompletion(c *cli.Context, sh shell) error {
	script, ok := completionScripts[c.Args().First()]
	if !ok || c.NArg() != 1 {
		return wrong("e.g. quietmount completion bash", "completion wants one of bash, zsh, fish, pwsh")
	}
	_, err := io.WriteString(sh.Out, script)
	return err
}

func runComplete(c *cli.Context, sh shell) error {
	for _, s := range candidates(c.App, c.Args().Slice()) {
		fmt.Fprintln(sh.Out, s)
	}
	return nil
}

// candidates returns the completions of the last word; none means that the shell
// should offer files.
func candidates(app *cli.App, words []string) []string {
	if len(words) == 0 {
		words = []string{""}
	}
	partial, before := words[len(words)-1], words[:len(words)-1]
	at := commandIndex(app, before)
	switch {
	case at < 0 && strings.HasPrefix(partial, "-"):
		return withPrefix(flagWords(app.Flags), partial)
	case at < 0:
		return withPrefix(commandWords(app), partial)
	}
	command := app.Command(before[at])
	if name, ok := pendingFlag(command, before); ok {
		return withPrefix(flagValues(name, before), partial)
	}
	if strings.HasPrefix(partial, "-") {
		return withPrefix(flagWords(command.Flags), partial)
	}
	if command.Name == "completion" {
		return withPrefix([]string{"bash", "fish", "pwsh", "zsh"}, partial)
	}
	return nil
}

// pendingFlag returns the flag whose value comes next.
func pendingFlag(command *cli.Command, before []string) (string, bool) {
	if len(before) == 0 || !looksLikeFlag(before[len(before)-1]) {
		return "", false
	}
	name := strings.TrimLeft(before[len(before)-1], "-")
	flag := findFlag(command.Flags, name)
	return name, flag != nil && takesValue(flag)
}

// flagValues returns the values to offer for a flag: those in the craft file of
// the folder on the command line, or of this folder.
func flagValues(name string, before []string) []string {
	if name == "kind" {
		return []string{"hull", "multirotor", "wing"}
	}
	if name != "state" {
		return nil
	}
	for _, dir := range append(slices.Clone(before), ".") {
		craft, err := craftfile.Load(dir)
		if err != nil {
			continue
		}
		states := []string{survey.StateBackground, survey.StateUnpowered}
		for _, l := range craft.Loads {
			states = append(states, l.Name)
		}
		return states
	}
	return nil
}

func commandWords(app *cli.App) []string {
	var out []string
	for _, c := range app.Commands {
		if !c.Hidden {
			out = append(out, c.Name)
		}
	}
	return out
}

func flagWords(flags []cli.Flag) []string {
	out := []string{"--help"}
	for _, f := range flags {
		out = append(out, "--"+f.Names()[0])
	}
	return out
}

func withPrefix(words []string, prefix string) []string {
	var out []string
	for _, w := range words {
		if strings.HasPrefix(w, prefix) {
			out = append(out, w)
		}
	}
	slices.Sort(out)
	return out
}
