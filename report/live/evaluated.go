package live

import (
	"quietmount/survey/findings"
)

// WithFindings computes an answer from the findings over all runs of the folder
// and keeps it as Once does. The runs are evaluated once for all panels as long
// as the folder stays the same. The error is that of the folder, of
// findings.Evaluate, or of compute; found must not be used afterwards.
func (b *Bench) WithFindings(key string, compute func(found *findings.Findings) (any, error)) (any, error) {
	return b.Once(key, func() (any, error) {
		found, err := b.evaluated()
		if err != nil {
			return nil, err
		}
		return compute(found)
	})
}

// evaluated is called within Once.
func (b *Bench) evaluated() (*findings.Findings, error) {
	const key = "the findings themselves"
	print := fingerprint(b.opts.Dir)
	if v, ok := b.kept.get(print, key); ok {
		return v.(*findings.Findings), nil
	}
	f, err := b.Folder()
	if err != nil {
		return nil, err
	}
	found, err := findings.Evaluate(f.Craft, f.Runs, findings.Options{})
	if err == nil {
		b.kept.put(print, key, found)
	}
	return found, err
}
