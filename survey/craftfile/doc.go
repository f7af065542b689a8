// Package craftfile reads, writes and starts craft.toml. In comes the text of the
// file; out goes a survey.Craft, checked, or every mistake at once with line and
// column ([Mistakes]). [StoreAxes] changes one key and leaves every other byte;
// [Starter] writes a commented file to begin with.
//
// Start at [Parse], which is read.go (the sections) and things.go (stations, loads,
// parts); tree.go keeps the place of each value, table.go reads one table.
package craftfile
