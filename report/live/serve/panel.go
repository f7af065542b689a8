package serve

import "context"

// Panel is one part of a step of the path. Its template, in NAME.html of the
// assets, defines the template NAME; NAME.js and NAME.css join the page's one
// script and one style. The server answers for a panel at
//
//	GET  /panel/NAME          its template with Data, as a fragment of HTML
//	GET  /data/NAME           Data as JSON
//	POST /do/NAME/ACTION      Actions[ACTION]: a form in, JSON out
//	GET  /file/NAME/KEY       Files[KEY]: a picture or a download
type Panel struct {
	Name string // lower-case letters; part of the addresses
	Step string // name of the step on whose page it stands

	// Data returns what the template shows and /data/NAME sends as JSON. An
	// error is shown in the panel's place.
	Data func(Ask) (any, error)

	// Actions change something. What they return is the JSON answer; use Done
	// for a plain one. A *FieldError is shown at its field.
	Actions map[string]func(Ask) (any, error)

	// Files are pictures and downloads.
	Files map[string]func(Ask) (File, error)
}

// Ask is one request to a panel: a context that ends when the browser gives the
// request up, and the fields that it sent.
type Ask struct {
	Ctx  context.Context
	Form Form
}

// File is the answer of /file/NAME/KEY.
type File struct {
	Type     string // media type
	Body     []byte
	Download string // name under which it is saved; empty: it is shown
}

// Done is the answer of an action that has nothing to show but a sentence.
type Done struct {
	Say string `json:"say"`
}
