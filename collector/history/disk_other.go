//go:build !unix

package history

import "errors"

// DiskUsed is not known here: the limits by size and age must do.
func DiskUsed(string) (float64, error) { return 0, errors.ErrUnsupported }
