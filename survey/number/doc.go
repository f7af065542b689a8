// Package number reads and writes numbers as files may hold them: finite, in plain
// decimal notation. Start at Parse.
package number
