package logbook

// Names inside the package that its external tests use.
const KeptDirections = keptDirections
const TornMark = tornMark

var EncodeHeader = encodeHeader
var EncodeSwingHeader = encodeSwingHeader
var RunNumbers = runNumbers

// Next is the number of the capture that comes next.
func (w *RunWriter) Next() int { return w.next }

// Disk is what the run is written to.
func (w *RunWriter) Disk() runFile { return w.f }

// SetDisk puts another in its place.
func (w *RunWriter) SetDisk(f runFile) { w.f = f }
