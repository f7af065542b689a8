// Package live is the bench page: the numbered path of the job in a browser on
// this machine, with the guided walk as its centre. It serves one page from the
// binary, without anything from elsewhere, and drives the same guide, the same
// logbook and the same lock as the terminal does.
//
// # How the page is put together
//
// The page is a shell with the path (Describe, Mark, Link ... File) and, for
// the step that is open, the panels of that step. A Panel is the unit of
// extension; the files of one called NAME are
//
//	NAME.go                  func NAMEPanel() Panel: its data, actions, files
//	assets/NAME.html         {{define "NAME"}} ... {{end}}, shown with the data
//	assets/NAME.js           optional: bench.panel("NAME", {shown, did, key, gone, busy})
//	assets/NAME.css          optional; joined to the one stylesheet
//	assets/words/NAME.txt    its words: lines "NAME.key = text"
//
// and one line in panels.go puts it on the path. The server answers for it at
//
//	GET  /panel/NAME          the template with Panel.Data, as a fragment
//	GET  /data/NAME           Panel.Data as JSON
//	POST /do/NAME/ACTION      Panel.Actions[ACTION]; a form in, JSON out
//	GET  /file/NAME/KEY       Panel.Files[KEY]: a picture or a download
//
// # Rules for panels
//
// Nothing changes on GET. A form is sent by the page's script when it carries
// data-do="NAME/ACTION"; the answer's "say" is spoken in the status line, its
// "error" beside the field that "field" names, and the panel is fetched anew.
// A form with data-ask="NAME" fetches the fragment again with its fields as the
// query, for choices that only change what is shown. Both work for panels of
// other steps too.
//
// Panels read the folder through Bench.Folder and compute through Bench.Once,
// which keeps an answer until the folder changes and lets one computation run
// at a time; what takes longer than a moment through Bench.Later, which goes on
// in the background, gives the older answer meanwhile, and shows NAME_ready to
// the pages when it is done (a template shows {{template "working" .Progress}}).
// Within a computation Bench.found has the findings and the ranking of the
// folder as it is. No value from a page names a file. Inline styles and handlers are
// blocked by the page's policy: use classes, SVG attributes, and the panel's
// script. Texts stand in words/NAME.txt and come into a template by
// {{say "NAME.key"}}, into the script by bench.say("NAME.key", ...).
//
// What happens while the page is open goes out over Bench.Stream: Say for
// events, which are numbered and replayed after a lost connection, and Show for
// values of which only the newest matters. The topics of a panel begin with its
// name. The topic "folder" says that something in the craft folder changed; an
// open panel is then fetched anew unless somebody is typing in it. A page that is
// hidden gives its stream up, lest it take one of the six connections that a
// browser opens to a server, and gets the newest values when it is shown again;
// while the busy of a panel holds it keeps it, so that it is heard.
//
// A wide table has the class "stack", and its cells data-th with the head of
// their column: where there is no room the cells of a row stand in lines below
// its name. Texts of the terminal that name its flags have words of the page's
// own here.
package live
