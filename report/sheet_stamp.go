package report

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"quietmount/magmath/geomag"
	"quietmount/survey/findings"
)

type stampView struct {
	Written, Tool, Command, Model, Digest string
	Inputs                                []Input
}

func stampOf(f *findings.Findings, o RecordOptions) stampView {
	inputs := slices.Clone(o.Inputs)
	slices.SortFunc(inputs, func(a, b Input) int { return strings.Compare(a.Name, b.Name) })
	h := sha256.New()
	for _, in := range inputs {
		fmt.Fprintf(h, "%s  %s\n", in.SHA256, in.Name)
	}
	return stampView{
		Written: o.Now.Format("2006-01-02 15:04:05 -07:00"), Tool: o.Tool, Command: o.Command,
		Model:  geomag.WMM2025().Name() + " on " + f.Date,
		Digest: hex.EncodeToString(h.Sum(nil)), Inputs: inputs,
	}
}
