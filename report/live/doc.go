// Package live is the bench page: the whole job in a browser on this machine,
// as a numbered path of steps (Describe, Mark, Link ... File). Package serve is
// its HTTP, package conduct leads what is measured from it; here are the panels,
// which the steps show one below the other, and what panels share.
//
// In come the craft folder, a clock, the ports and the state of the job
// (Options). Out go the page, its pictures and downloads, and into the craft
// folder runs, calibrations, swings, the choice and the record, all through the
// same packages as from the terminal.
//
// Start reading at New (bench.go). A request goes from serve.Server through the
// table in panels.go to the panel's function, say mapData in map.go; what takes
// longer than a moment is computed in the background and kept by cache.go; what
// several panels begin with, the folder, its findings and its ranking, is in
// findings.go. path.go gives the state of the steps.
//
// # A panel
//
// The files of a panel called NAME are
//
//	NAME.go                its data, actions and files
//	assets/NAME.html       {{define "NAME"}} ... {{end}}, shown with the data
//	assets/NAME.js         optional: bench.panel("NAME", {shown, did, key, gone, busy})
//	assets/NAME.css        optional; joined to the one stylesheet
//	assets/words/NAME.txt  its words: lines "NAME.key = text"
//
// and one entry in panels.go puts it on the path. serve.Panel says where the
// server answers for it. Templates that several panels use are in
// assets/shared.html, their script in assets/guided.js and assets/shared.js.
//
// # Rules for panels
//
// Nothing changes on GET. The page's script sends a form that carries
// data-do="NAME/ACTION"; it shows the answer's "say" in the status line and its
// "error" beside the field that "field" names, and fetches the panel again. A
// form with data-ask="NAME" fetches the fragment with its fields as the query,
// for choices that only change what is shown. Both work for panels of other
// steps too.
//
// What follows from the craft folder alone goes through the function computed,
// with the request's context. It is kept until the files change that it follows
// from (inputs in watch.go); one computation runs at a time; one that nobody
// waits for any more is cancelled. A panel asks with the patience soon: it shows
// the older answer and {{template "working" .Progress}} meanwhile, and the topic
// NAME_ready, NAME being the first word of the key, tells the page to fetch it
// again. A picture or an action asks with the patience fully.
//
// No value from a page names a file. The page's policy blocks inline styles and
// handlers: use classes, SVG attributes, and the panel's script. Texts stand in
// words/NAME.txt; {{say "NAME.key"}} in a template, a.Words in Go and
// bench.say("NAME.key", ...) in a script look them up. They are worded for a
// person with a mouse: no command and no flag. Escape nothing by hand.
//
// The stream carries events (Say), which are numbered and sent again after a
// lost connection, and values (Show), of which only the newest matters. The
// topics of a panel begin with its name. The topic "folder" says that something
// in the craft folder changed; an open panel is then fetched again unless
// somebody is typing in it. A hidden page gives its stream up, lest it take one
// of the six connections that a browser opens to a server, and gets the newest
// values when it is shown again; it keeps the stream while it waits for an
// answer or while busy of a panel returns true.
//
// A wide table has the class "stack", and its cells data-th with the head of
// their column: on a narrow screen the cells of a row stand in lines below its
// name.
package live
