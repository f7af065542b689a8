package logbook

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey/disk"
)

// ErrNewerFormat reports that a run file was written by a newer program.
var ErrNewerFormat = errors.New("the run file is of a newer format")

// ErrNoHeader reports that a run file does not begin with a complete header.
// Such a file holds no acknowledged capture, because the header is on the disk
// before a run begins.
var ErrNoHeader = errors.New("no whole header line")

// maxRunLine bounds one line of a run file: at 100 samples a second it is
// about three hours of one dwell.
const maxRunLine = 64 << 20

// A RunError is an error in a run file with its place. Line is 1-based, 0 for
// the file as a whole.
type RunError struct {
	File string
	Line int
	Err  error
}

func (e *RunError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	}
	return fmt.Sprintf("%s:%d: %v", e.File, e.Line, e.Err)
}

func (e *RunError) Unwrap() error { return e.Err }

// ReadRun reads a run file; name is used in messages and becomes Run.File.
//
// A last line that was cut off (no line end, not whole) is left out and said
// in Run.Warnings; so is one that a later resumption marked as cut. A whole
// last line that only lacks its line end counts. Unknown keys are ignored,
// unknown kinds of line with a warning. Everything else that is wrong is a
// *RunError: damage, a newer format (ErrNewerFormat), no header
// (ErrNoHeader), a capture number used twice, a void of a capture that is not
// there, numbers that are not finite.
func ReadRun(r io.Reader, name string) (*Run, error) {
	s := runReader{name: name, run: &Run{File: name}, stop: true}
	s.read(r)
	if len(s.errs) > 0 {
		return nil, s.errs[0]
	}
	return s.run, nil
}

// readFile reads a file of the runs or the swing folder up to the first error. Its
// number is that of its name; a header that differs leads to a warning.
func readFile(ctx context.Context, path string) (*runReader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read a run: %w", err)
	}
	defer f.Close()
	s := runReader{name: path, run: &Run{File: path}, stop: true}
	s.read(disk.Reader(ctx, f))
	if len(s.errs) > 0 {
		return nil, s.errs[0]
	}
	s.number()
	return &s, nil
}

// LoadRun reads one run file; its number is that of its name. Once ctx has ended the
// error is that of ctx.
func LoadRun(ctx context.Context, path string) (*Run, error) {
	s, err := readFile(ctx, path)
	if err != nil {
		return nil, err
	}
	return s.run, nil
}

// ExamineRun reads as much of a run file as it can and returns every error in
// its lines, in their order. The run is nil if the file has no header.
func ExamineRun(ctx context.Context, path string) (*Run, []*RunError) {
	f, err := os.Open(path)
	if err != nil {
		return nil, []*RunError{{File: path, Err: err}}
	}
	defer f.Close()
	s := runReader{name: path, run: &Run{File: path}}
	s.read(disk.Reader(ctx, f))
	if !s.header {
		return nil, s.errs
	}
	s.number()
	return s.run, s.errs
}

// number settles the run's number by its file's name.
func (s *runReader) number() {
	n, ok := RunNumber(filepath.Base(s.name))
	if !ok {
		n, ok = SwingNumber(filepath.Base(s.name))
	}
	if h := &s.run.Header; ok && h.Run != n {
		r := remark.New("logbook.other-number", remark.Values{"header": h.Run, "name": n})
		s.run.Warnings = append(s.run.Warnings, r.At(remark.Place{File: s.name, Line: 1}))
		h.Run = n
	}
}

// runReader gathers a run line by line.
type runReader struct {
	name   string
	run    *Run
	line   int
	header bool // there was one
	stop   bool // at the first error
	errs   []*RunError
	at     map[int]int // where the capture of each number is in run.Captures

	end      int64 // bytes up to and with the last line end
	tail     int64 // bytes after it
	tailGood bool  // those bytes are a whole line
}

func (s *runReader) fail(err error) { s.failAt(s.line, err) }

func (s *runReader) failAt(line int, err error) {
	s.errs = append(s.errs, &RunError{File: s.name, Line: line, Err: err})
}

// warn keeps a remark on the present line.
func (s *runReader) warn(r remark.Remark) {
	s.run.Warnings = append(s.run.Warnings, r.At(remark.Place{File: s.name, Line: s.line}))
}

func (s *runReader) read(r io.Reader) {
	br := bufio.NewReaderSize(r, 1<<16)
	for {
		line, err := boundedLine(br, maxRunLine)
		s.line++
		if err != nil && err != io.EOF {
			s.fail(err)
			return
		}
		if err == io.EOF {
			s.last(line)
			break
		}
		s.end += int64(len(line))
		s.whole(line[:len(line)-1])
		if s.stop && len(s.errs) > 0 {
			return
		}
	}
	if !s.header && len(s.errs) == 0 {
		s.failAt(1, fmt.Errorf("%w: nothing was acknowledged in this run, move the file away", ErrNoHeader))
	}
}

// boundedLine reads up to and with the next line end; io.EOF comes with what
// follows the last one. The result is valid until the next call.
func boundedLine(br *bufio.Reader, limit int) ([]byte, error) {
	var line []byte
	for {
		part, err := br.ReadSlice('\n')
		if line == nil && err == nil {
			return part, nil
		}
		line = append(line, part...)
		switch {
		case len(line) > limit:
			return nil, fmt.Errorf("a line of more than %d MiB", limit>>20)
		case err == bufio.ErrBufferFull:
		default:
			return line, err
		}
	}
}

// last takes the bytes after the last line end.
func (s *runReader) last(line []byte) {
	s.tail = int64(len(line))
	if len(line) == 0 {
		return
	}
	if !wholeObject(line) {
		if s.header {
			s.warn(remark.New("logbook.torn", remark.Values{"bytes": len(line)}))
		}
		return
	}
	s.tailGood = true
	s.whole(line)
	if s.header {
		s.warn(remark.New("logbook.no-line-end"))
	}
}

func wholeObject(line []byte) bool {
	t := bytes.TrimSpace(line)
	return len(t) > 0 && t[0] == '{' && json.Valid(t)
}

// tornMark begins the note that a resumption writes straight after a torn
// line, on the same line: torn bytes, this note, line end. A reader knows the
// torn bytes by the note's own count of them.
const tornMark = `{"kind":"note","about":"resumed","torn_bytes":`

// whole takes one line without its line end.
func (s *runReader) whole(line []byte) {
	if s.line == 1 {
		line = bytes.TrimPrefix(line, []byte("\ufeff"))
	}
	if len(bytes.TrimSpace(line)) == 0 {
		return
	}
	var k wireKind
	err := json.Unmarshal(line, &k)
	if err != nil || k.Kind == "" {
		if s.tornAndResumed(line) {
			return
		}
		if err == nil {
			err = errors.New(`no "kind"`)
		}
		s.fail(fmt.Errorf("damaged line: %w", err))
		return
	}
	if err := s.take(k, line); err != nil {
		s.fail(err)
	}
}

func (s *runReader) tornAndResumed(line []byte) bool {
	i := bytes.LastIndex(line, []byte(tornMark))
	if i < 1 || !s.header {
		return false
	}
	var n wireNote
	if json.Unmarshal(line[i:], &n) != nil || n.TornBytes == nil || *n.TornBytes != int64(i) {
		return false
	}
	s.warn(remark.New("logbook.torn-then-resumed", remark.Values{"bytes": i}))
	s.note(n)
	return true
}

func (s *runReader) take(k wireKind, line []byte) error {
	if !s.header && k.Kind != lineHeader {
		return fmt.Errorf("%w: the file begins with a line of kind %q", ErrNoHeader, k.Kind)
	}
	switch k.Kind {
	case lineHeader:
		return s.takeHeader(line)
	case lineCapture:
		return s.takeCapture(line)
	case lineVoid:
		return s.takeVoid(line)
	case lineNote:
		var n wireNote
		if err := json.Unmarshal(line, &n); err != nil {
			return fmt.Errorf("damaged note: %w", err)
		}
		s.note(n)
		return nil
	}
	s.warn(remark.New("logbook.unknown-line", remark.Values{"kind": k.Kind}))
	return nil
}

func (s *runReader) takeHeader(line []byte) error {
	if s.header {
		return errors.New("a second header")
	}
	h, err := decodeHeader(line)
	if err != nil {
		return err
	}
	s.run.Header, s.header = h, true
	return nil
}

func (s *runReader) takeCapture(line []byte) error {
	c, err := decodeCapture(line)
	if err != nil {
		return err
	}
	if i, ok := s.at[c.Number]; ok {
		return fmt.Errorf("capture %d is there twice, first in line %d", c.Number, s.run.Lines[i])
	}
	if s.at == nil {
		s.at = map[int]int{}
	}
	s.at[c.Number] = len(s.run.Captures)
	s.run.Captures = append(s.run.Captures, c)
	s.run.Lines = append(s.run.Lines, s.line)
	s.run.Ended = false
	return nil
}

func (s *runReader) takeVoid(line []byte) error {
	var v wireVoid
	if err := json.Unmarshal(line, &v); err != nil {
		return fmt.Errorf("damaged void: %w", err)
	}
	i, ok := s.at[v.Capture]
	if !ok {
		return fmt.Errorf("a void of capture %d, which is not in this run", v.Capture)
	}
	if s.run.Captures[i].Void == "" {
		s.run.Captures[i].Void = voidReason(v.Why)
	}
	s.run.Ended = false
	return nil
}

func voidReason(why string) string {
	if strings.TrimSpace(why) == "" {
		return "no reason given"
	}
	return why
}

func (s *runReader) note(n wireNote) {
	if n.About == "" {
		n.About = NoteText
	}
	s.run.Notes = append(s.run.Notes, Note{Kind: n.About, Station: n.Station, Text: n.Text, Time: n.Time, Verdict: n.Verdict})
	switch n.About {
	case NoteEnd:
		s.run.Ended = true
	case NoteResumed:
		s.run.Ended = false
	}
}
