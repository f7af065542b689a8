package filing

import (
	"errors"
	"path/filepath"
	"strings"

	"quietmount/report/answer"
	"quietmount/report/record"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// compare fills in how the steady part of the finished craft compares with what the
// map promised for the chosen spot, or why that was not compared.
func compare(all *logbook.Folder, found *evaluate.Findings, o *record.Options) {
	c, err := swing.Compare(all.Dir, all.Craft.Module.Name, found, o.Choice)
	if missing, ok := errors.AsType[*swing.NotComparedError](err); ok {
		o.NotCompared = words.Terminal.Say(missing.Why)
		return
	}
	if err != nil {
		o.NotCompared = strings.ReplaceAll(err.Error(), filepath.Clean(all.Dir)+string(filepath.Separator), "")
		return
	}
	o.Promise = new(answer.NewPromise(c.Promise, c.Kept))
	o.Compared = []string{c.Loose.ID, c.OnCraft.ID}
}
