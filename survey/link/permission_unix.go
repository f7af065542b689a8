//go:build unix

package link

import (
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// permittedGroup returns the group that may use the port: dialout on many
// systems, uucp on others.
func permittedGroup(name string) string {
	group := "dialout (or uucp)"
	if info, err := os.Stat(name); err == nil {
		if st, ok := info.Sys().(*syscall.Stat_t); ok && st.Gid != 0 {
			id := strconv.FormatUint(uint64(st.Gid), 10)
			group = id
			if g, err := user.LookupGroupId(id); err == nil {
				group = g.Name
			}
		}
	}
	return group
}
