package craftfile

// Names inside the package that its external tests use.
var CloseTo = closeTo
