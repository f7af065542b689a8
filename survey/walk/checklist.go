package walk

import (
	"context"
	"errors"

	"quietmount/magmath/remark"
	"quietmount/survey/guide"
)

// ErrDeclined reports that the operator did not confirm the checklist. Nothing
// was written.
var ErrDeclined = errors.New("the checklist was not confirmed: nothing was begun")

// Confirm shows the items one at a time and waits for each to be confirmed by
// an empty line or "confirm". Anything else declines, and so does the end of
// the commands.
func Confirm(ctx context.Context, items []remark.Remark, commands <-chan guide.Command, face func(guide.Event) error) error {
	for i := range items {
		if err := face(guide.Event{Kind: guide.Checklist, Items: items[i:]}); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case c, ok := <-commands:
			if !ok || c.Kind != guide.CmdCapture && c.Kind != guide.CmdConfirm {
				return ErrDeclined
			}
		}
	}
	return nil
}
