package survey

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
)

// calibrationDocument checks a stored calibration.
func calibrationDocument(r io.Reader) (line int, err error) {
	b, err := io.ReadAll(io.LimitReader(r, maxRunLine))
	if err != nil {
		return 0, err
	}
	_, err = decodeCorrection(b)
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		return 1 + bytes.Count(b[:min(int(syntax.Offset), len(b))], []byte("\n")), err
	}
	return 0, err
}

// jsonLines checks a file of one JSON value a line.
func jsonLines(r io.Reader) (line int, err error) {
	br := bufio.NewReaderSize(r, 1<<16)
	for line = 1; ; line++ {
		b, err := boundedLine(br, maxRunLine)
		if err != nil && err != io.EOF {
			return line, err
		}
		if t := bytes.TrimSpace(b); len(t) > 0 && !json.Valid(t) {
			return line, errors.New("this line is not JSON")
		}
		if err == io.EOF {
			return 0, nil
		}
	}
}
