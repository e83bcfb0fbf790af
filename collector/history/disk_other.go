//go:build !unix

package history

import "errors"

// diskUsed is not known here: the limits by size and age must do.
func diskUsed(string) (float64, error) { return 0, errors.ErrUnsupported }
