// Package csvfile brings runs and calibration readings in from CSV and runs out to it.
// What is wrong in a file is an *[Error] with line and column; what was assumed is in
// Imported.Warnings, topic "import". Columns of a sample are those of survey.Columns.
//
// Start at [Import] and [Export]; table.go reads any CSV row by row.
package csvfile
