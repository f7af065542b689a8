package main

import (
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/survey"
	"quietmount/survey/number"
)

// arrange puts argv (without the program's name) into the order that the flag
// parser understands: command, flags, "--", arguments. The parser itself stops
// at the first argument and would silently treat a later flag as a file name.
// arrange refuses a flag that the command does not have, at any position.
func arrange(app *cli.App, argv []string) ([]string, error) {
	argv = helpFirst(app, argv)
	at := commandIndex(app, argv)
	if at < 0 {
		return arrangeFlags("quietmount", app.Flags, argv)
	}
	command := app.Command(argv[at])
	rest := append(append([]string{}, argv[:at]...), argv[at+1:]...)
	ordered, err := arrangeFlags("quietmount "+command.Name, command.Flags, rest)
	if err != nil {
		return nil, err
	}
	return append([]string{command.Name}, ordered...), nil
}

// helpFirst turns the words help and help COMMAND into the flag, and drops the
// other arguments, which the parser would treat as topics.
func helpFirst(app *cli.App, argv []string) []string {
	asked := slices.ContainsFunc(argv, func(word string) bool { return word == "--help" || word == "-h" })
	at := commandIndex(app, argv)
	switch {
	case asked && at >= 0 && !slices.Contains(argv, "--"):
		return []string{argv[at], "--help"}
	case len(argv) == 1 && argv[0] == "help":
		return []string{"--help"}
	case len(argv) == 2 && argv[0] == "help" && app.Command(argv[1]) != nil:
		return []string{argv[1], "--help"}
	}
	return argv
}

// commandIndex returns the index of the first word that is not a flag; -1 if there
// is none or it is not a command.
func commandIndex(app *cli.App, argv []string) int {
	for i, word := range argv {
		if word == "--" {
			return -1
		}
		if strings.HasPrefix(word, "-") && word != "-" {
			continue
		}
		if app.Command(word) == nil {
			return -1
		}
		return i
	}
	return -1
}

func arrangeFlags(call string, flags []cli.Flag, argv []string) ([]string, error) {
	var opts, args []string
	for i := 0; i < len(argv); i++ {
		word := argv[i]
		if word == "--" {
			args = append(args, argv[i+1:]...)
			break
		}
		if !looksLikeFlag(word) {
			args = append(args, word)
			continue
		}
		name, value, hasValue := strings.Cut(strings.TrimPrefix(word[1:], "-"), "=")
		flag := findFlag(flags, name)
		if flag == nil {
			return nil, unknownFlag(call, flags, word)
		}
		opts = append(opts, word)
		if hasValue || !takesValue(flag) {
			if err := checkNumber(call, flag, name, value); hasValue && err != nil {
				return nil, err
			}
			continue
		}
		if _, may := flag.(optionalNumberFlag); may && (i+1 == len(argv) || !isNumber(argv[i+1])) {
			opts[len(opts)-1] += "="
			continue
		}
		if i+1 == len(argv) {
			return nil, wrong("see: "+call+" --help", "%s: flag %s wants a value", call, word)
		}
		i++
		if err := checkNumber(call, flag, name, argv[i]); err != nil {
			return nil, err
		}
		opts = append(opts, argv[i])
	}
	return append(append(opts, "--"), args...), nil
}

// optionalNumberFlag is a flag with a whole number or nothing behind it: without one
// it is set and empty.
type optionalNumberFlag struct{ *cli.StringFlag }

func isNumber(word string) bool {
	_, err := strconv.Atoi(word)
	return err == nil
}

// checkNumber refuses a value that is not a plain finite number for a flag that
// takes one; the flag parser itself accepts NaN, Inf and hexadecimals.
func checkNumber(call string, flag cli.Flag, name, value string) error {
	if _, ok := flag.(*cli.Float64Flag); !ok {
		return nil
	}
	if _, ok := number.Parse(value); ok {
		return nil
	}
	hint := "see: " + call + " --help"
	if point := strings.Replace(value, ",", ".", 1); point != value {
		if _, ok := number.Parse(point); ok {
			hint = "write it with a point: " + point
		}
	}
	return wrong(hint, "%s: --%s %q is no plain number", call, name, value)
}

// looksLikeFlag reports whether word is a flag; "-" (standard input) and negative
// numbers are arguments.
func looksLikeFlag(word string) bool {
	if len(word) < 2 || word[0] != '-' {
		return false
	}
	return word[1] != '.' && (word[1] < '0' || word[1] > '9')
}

func findFlag(flags []cli.Flag, name string) cli.Flag {
	for _, f := range append(flags, cli.HelpFlag, cli.VersionFlag) {
		if slices.Contains(f.Names(), name) {
			return f
		}
	}
	return nil
}

func takesValue(f cli.Flag) bool {
	d, ok := f.(cli.DocGenerationFlag)
	return ok && d.TakesValue()
}

func unknownFlag(call string, flags []cli.Flag, word string) error {
	var names []string
	for _, f := range flags {
		for _, n := range f.Names() {
			names = append(names, "--"+n)
		}
	}
	hint := "see: " + call + " --help"
	name, _, _ := strings.Cut(word, "=")
	if near := survey.Nearest(name, names); near != "" {
		hint = "did you mean " + near + "?"
	}
	return wrong(hint, "%s has no flag %s", call, word)
}
