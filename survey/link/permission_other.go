//go:build !unix

package link

// permissionHint says what to try.
func permissionHint(string) string {
	return "another program may hold it, or the account lacks the right"
}
