package main

import (
	"context"
	"errors"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// askedStations are the places at which measuring next helps the ranking most,
// under names that nothing has.
func askedStations(ctx context.Context, dir string, f *logbook.Folder, sh shell) ([]survey.Station, error) {
	found, err := evaluateFolder(ctx, dir, "", sh)
	if err != nil {
		return nil, err
	}
	ranking, err := ranked(ctx, sh, found, rank.Options{})
	if err != nil {
		return nil, withHint(err, "walk the craft's own stations first: quietmount survey without --asked")
	}
	asked := rank.Asked(f, ranking)
	if len(asked) == 0 {
		return nil, withHint(errors.New("the ranking asks for no station"), "see: quietmount rank")
	}
	return asked, nil
}
