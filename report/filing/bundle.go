package filing

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"quietmount/report/record"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// bundleNote is the README.txt of each bundle.
const bundleNote = `A craft folder of quietmount. Unpack it, then in this folder:

    quietmount verify     reads every file and says what is wrong
    quietmount record     makes record/ again; the stamp on the sheet says by which version
`

// Bundle returns a zip file of the files that verify and record need from a craft
// folder, and of the record just made. The same files give the same bytes.
func Bundle(ctx context.Context, dir string, files []record.File) ([]byte, error) {
	names, err := bundleNames(dir)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, n := range names {
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(n)))
		if err == nil {
			err = pack(z, n, data)
		}
		if err != nil {
			return nil, fmt.Errorf("pack %s: %w", n, err)
		}
	}
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b record.File) int { return strings.Compare(a.Name, b.Name) })
	for _, f := range files {
		if err := pack(z, path.Join(Folder, f.Name), f.Data); err != nil {
			return nil, fmt.Errorf("pack %s: %w", f.Name, err)
		}
	}
	if err := errors.Join(pack(z, "README.txt", []byte(bundleNote)), z.Close()); err != nil {
		return nil, fmt.Errorf("pack: %w", err)
	}
	return b.Bytes(), nil
}

// pack adds a file to a zip file. Its date is the earliest that a zip file can
// store, so that the same files give the same bytes.
func pack(z *zip.Writer, name string, data []byte) error {
	earliest := time.Date(1980, time.January, 1, 0, 0, 0, 0, time.UTC)
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: earliest})
	if err != nil {
		return err
	}
	_, err = io.Copy(w, bytes.NewReader(data))
	return err
}

// bundleNames returns the files of a craft folder that a bundle holds besides the
// record, with slashes, in order.
func bundleNames(dir string) ([]string, error) {
	names := []string{craftfile.Name}
	if _, err := os.Stat(filepath.Join(dir, logbook.ChoiceFile)); err == nil {
		names = append(names, logbook.ChoiceFile)
	}
	for _, folder := range []string{logbook.CalibrationFolder, logbook.RunsFolder, logbook.SwingFolder} {
		entries, err := os.ReadDir(filepath.Join(dir, folder))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		for _, e := range entries {
			if e.Type().IsRegular() {
				names = append(names, path.Join(folder, e.Name()))
			}
		}
	}
	return names, nil
}
