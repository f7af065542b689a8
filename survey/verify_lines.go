package survey

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
)

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
