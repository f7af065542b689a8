package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"
)

// helpWide is how many characters a line of the help may take.
const helpWide = 79

// setHelp replaces the help text of every command: the parser's own prints the
// zero of every flag as if it were a default.
func setHelp(app *cli.App) {
	app.CustomAppHelpTemplate = literal(appHelp(app))
	for _, c := range app.Commands {
		c.CustomHelpTemplate = literal(commandHelp(c))
	}
}

// literal escapes a text that the parser treats as a template.
func literal(text string) string { return strings.ReplaceAll(text, "{{", `{{"{{"}}`) }

func appHelp(app *cli.App) string {
	var b strings.Builder
	b.WriteString(fill(app.Name+": "+app.Usage, ""))
	b.WriteString("\n    quietmount COMMAND [DIR] [FILE] [flags]\n\n")
	b.WriteString(fill("DIR is the craft folder, by default the current one. Without a command, quietmount shows where the job in this folder stands, and the next command.", ""))
	group := ""
	for _, c := range app.Commands {
		if c.Hidden {
			continue
		}
		if c.Category != group {
			group = c.Category
			fmt.Fprintf(&b, "\n%s\n", group)
		}
		b.WriteString(entry(c.Name, c.Usage, 12))
	}
	b.WriteString("\n")
	b.WriteString(flagHelp(append(slices.Clone(app.Flags), cli.VersionFlag)))
	b.WriteString("\n" + fill("Exit status: 0 done; 1 the job failed; 2 the call was wrong; 3 done, but the answer is no.", ""))
	b.WriteString("Help for a command: quietmount COMMAND --help\n")
	return b.String()
}

func commandHelp(c *cli.Command) string {
	var b strings.Builder
	b.WriteString(fill("quietmount "+c.Name+": "+c.Usage, ""))
	fmt.Fprintf(&b, "\n    quietmount %s %s\n", c.Name, strings.TrimSpace(c.ArgsUsage+" [flags]"))
	if c.Description != "" {
		b.WriteString("\n" + paragraphs(c.Description))
	}
	b.WriteString("\n" + flagHelp(c.Flags))
	return b.String()
}

// paragraphs rewraps a description, but keeps lines that form columns.
func paragraphs(text string) string {
	if strings.Contains(text, ":  ") || strings.Contains(text, "$") {
		return text + "\n"
	}
	return fill(text, "")
}

// flagHelp lists flags in their own order, help last.
func flagHelp(flags []cli.Flag) string {
	names, uses := []string{}, []string{}
	wide := 0
	for _, f := range append(slices.Clone(flags), cli.HelpFlag) {
		name, use := flagEntry(f)
		names, uses = append(names, name), append(uses, use)
		wide = max(wide, len(name))
	}
	var b strings.Builder
	for i := range names {
		b.WriteString(entry(names[i], uses[i], min(wide, 22)))
	}
	return b.String()
}

// flagEntry returns a flag with the name of its value, and its purpose, with the
// default unless that is empty or 0.
func flagEntry(f cli.Flag) (name, use string) {
	d, ok := f.(cli.DocGenerationFlag)
	if !ok {
		return "--" + f.Names()[0], ""
	}
	value, use := unquoted(d.GetUsage())
	use = strings.TrimPrefix(use, value+": ")
	name = "--" + f.Names()[0]
	for _, n := range f.Names()[1:] {
		name += ", -" + n
	}
	if !d.TakesValue() {
		return name, use
	}
	if value == "" {
		value = kindOfValue(f)
	}
	def := strings.Trim(d.GetDefaultText(), `"`)
	if def != "" && def != "0" {
		use += " (default: " + def + ")"
	}
	return name + " " + value, use
}

// unquoted returns the name of the value in backquotes, and the text without
// them.
func unquoted(use string) (value, text string) {
	before, rest, ok := strings.Cut(use, "`")
	if !ok {
		return "", use
	}
	value, after, ok := strings.Cut(rest, "`")
	if !ok {
		return "", use
	}
	return value, before + value + after
}

func kindOfValue(f cli.Flag) string {
	switch f.(type) {
	case *cli.IntFlag, *cli.Uint64Flag:
		return "N"
	case *cli.Float64Flag:
		return "NUMBER"
	}
	return "TEXT"
}

// entry returns a name with its text beside it, or below if the name is long.
func entry(name, text string, wide int) string {
	indent := strings.Repeat(" ", wide+6)
	body := strings.TrimPrefix(fill(text, indent), indent)
	if len(name) > wide {
		return "    " + name + "\n" + indent + body
	}
	return fmt.Sprintf("    %-*s  %s", wide, name, body)
}

// fill wraps a text into lines of at most helpWide characters.
func fill(text, indent string) string {
	var b strings.Builder
	line := indent
	for word := range strings.FieldsSeq(text) {
		if line != indent && len(line)+1+len(word) > helpWide {
			b.WriteString(line + "\n")
			line = indent
		}
		if line != indent {
			line += " "
		}
		line += word
	}
	return b.String() + line + "\n"
}
