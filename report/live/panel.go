package live

import (
	"context"
)

// Panel is one part of a step of the path. The package comment says which files
// belong to it and where the server answers for it.
type Panel struct {
	Name string // lower-case letters; part of the addresses
	Step string // the step on whose page it stands: one of the Step constants

	// Data is what the template shows and what /data/NAME tells as JSON. An
	// error is shown in the panel's place.
	Data func(a Ask) (any, error)

	// Actions change something. What they return is the JSON answer; use Done
	// for a plain one. An error that is a *FieldError is shown at its field.
	Actions map[string]func(a Ask) (any, error)

	// Files are pictures and downloads.
	Files map[string]func(a Ask) (File, error)

	// Start, if not nil, runs while the server does and ends with ctx.
	Start func(ctx context.Context, b *Bench)
}

// Ask is one request to a panel: the bench, what was sent, and a context that
// ends when the page stops waiting.
type Ask struct {
	*Bench
	Ctx  context.Context
	Form Form
}

// File is what /file/NAME/KEY answers with.
type File struct {
	Type     string // media type
	Body     []byte
	Download string // name under which it is saved; empty: it is shown
}

// Done is the answer of an action that has nothing to show but a sentence.
type Done struct {
	Say string `json:"say"`
}

// The steps of the path.
const (
	StepDescribe  = "Describe"
	StepMark      = "Mark"
	StepLink      = "Link"
	StepRoom      = "Room"
	StepCalibrate = "Calibrate"
	StepWalk      = "Walk"
	StepMap       = "Map"
	StepChoose    = "Choose"
	StepProve     = "Prove"
	StepGlue      = "Glue"
	StepFile      = "File"
)

func stepNames() []string {
	return []string{
		StepDescribe, StepMark, StepLink, StepRoom, StepCalibrate, StepWalk,
		StepMap, StepChoose, StepProve, StepGlue, StepFile,
	}
}
