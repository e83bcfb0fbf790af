package drift

import (
	"testing"
	"unsafe"

	"github.com/stretchr/testify/require"
)

func TestSize(t *testing.T) {
	require.LessOrEqual(t, int(unsafe.Sizeof(Series{})), 160)
	require.LessOrEqual(t, SeriesSize, 128)
	t.Log(unsafe.Sizeof(Series{}), SeriesSize)
}
