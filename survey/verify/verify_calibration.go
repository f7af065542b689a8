package verify

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"

	"quietmount/survey/logbook"
)

// calibrations reads what is stored of the probe.
func (v *verifier) calibrations() {
	v.eachFile(logbook.CalibrationFolder, ".json", func(path string) {
		f, err := os.Open(path)
		if err != nil {
			v.error(path, 0, "%v", err)
			return
		}
		defer f.Close()
		if line, err := calibrationDocument(f); err != nil {
			v.error(path, line, "damaged: %v", err)
		}
	})
}

// calibrationDocument checks a stored calibration.
func calibrationDocument(r io.Reader) (line int, err error) {
	b, err := io.ReadAll(io.LimitReader(r, logbook.MaxRunLine))
	if err != nil {
		return 0, err
	}
	_, err = logbook.DecodeCorrection(b)
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		return 1 + bytes.Count(b[:min(int(syntax.Offset), len(b))], []byte("\n")), err
	}
	return 0, err
}
