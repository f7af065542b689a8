package survey

import "unicode/utf8"

// Nearest returns the entry of known that differs from word by the fewest slips
// (a letter missing, added or changed, or two neighbours exchanged). It allows
// one slip for every three letters, and at least one. The first entry wins a
// tie; the result is empty if none is near or word is empty.
func Nearest(word string, known []string) string {
	if word == "" {
		return ""
	}
	best, fewest := "", max(1, utf8.RuneCountInString(word)/3)+1
	for _, k := range known {
		if n := slips(word, k); n < fewest {
			best, fewest = k, n
		}
	}
	return best
}

// slips returns the restricted Damerau-Levenshtein distance of a and b in
// characters ("optimal string alignment": no part is edited twice).
// Source: F. J. Damerau, A technique for computer detection and correction of
// spelling errors, Communications of the ACM 7 (1964) 171-176.
func slips(a, b string) int {
	s, t := []rune(a), []rune(b)
	if len(s) > 200 || len(t) > 200 {
		return len(s) + len(t)
	}
	before, above, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range row {
		above[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			change := above[j-1]
			if s[i-1] != t[j-1] {
				change++
			}
			row[j] = min(change, above[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(t)]
}
