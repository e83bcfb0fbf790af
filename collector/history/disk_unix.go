//go:build unix

package history

import "syscall"

// DiskUsed returns the share of the disk that is not free for this user.
func DiskUsed(path string) (float64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(path, &s); err != nil || s.Blocks == 0 {
		return 0, err
	}
	return 1 - float64(s.Bavail)/float64(s.Blocks-s.Bfree+s.Bavail), nil
}
