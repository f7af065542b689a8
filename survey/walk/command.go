package walk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"quietmount/survey/guide"
)

// errCommand reports a line that is not a command.
var errCommand = errors.New("not a command: an empty line captures now; else redo, redo NAME, skip, goto NAME, note TEXT, pause, continue, stop")

// maxCommand bounds a line of commands.
const maxCommand = 64 << 10

// parseCommand reads one line of an operator or a script: empty captures now;
// else redo, redo NAME, skip, goto NAME, note TEXT, pause, continue, stop,
// confirm, in any letter case.
// The error wraps errCommand.
func parseCommand(line string) (guide.Command, error) {
	line = strings.TrimSpace(line)
	if line == "" {
		return guide.Command{Kind: guide.CmdCapture}, nil
	}
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	kind := guide.CommandKind(strings.ToLower(word))
	switch kind {
	case guide.CmdGoto, guide.CmdNote:
		if rest == "" {
			return guide.Command{}, fmt.Errorf("%w: %s needs more after it", errCommand, kind)
		}
		return guide.Command{Kind: kind, Text: rest}, nil
	case guide.CmdRedo:
		return guide.Command{Kind: kind, Text: rest}, nil
	case guide.CmdSkip, guide.CmdStop, guide.CmdPause, guide.CmdGoOn, guide.CmdConfirm, guide.CmdCapture:
		if rest == "" {
			return guide.Command{Kind: kind}, nil
		}
	}
	return guide.Command{}, fmt.Errorf("%w: %.40q", errCommand, line)
}

// ReadCommands sends the commands of r, one per line, and closes the channel at
// the end of r. It passes on a line that is not a command as it is, for the guide
// to answer. It returns when r ends or stop is closed, but not while r blocks.
func ReadCommands(r io.Reader, to chan<- guide.Command, stop <-chan struct{}) {
	defer close(to)
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxCommand)
	for lines.Scan() {
		c, err := parseCommand(lines.Text())
		if err != nil {
			c = guide.Command{Kind: guide.CommandKind(strings.TrimSpace(lines.Text()))}
		}
		select {
		case to <- c:
		case <-stop:
			return
		}
	}
}
