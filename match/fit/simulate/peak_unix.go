//go:build linux || darwin

package simulate

import (
	"os"
	"runtime"
	"syscall"
)

// PeakMemory is the most resident memory a finished process held, bytes; 0 where the
// system does not tell.
func PeakMemory(state *os.ProcessState) uint64 {
	usage, ok := state.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	if runtime.GOOS == "darwin" {
		return uint64(usage.Maxrss) // bytes there, kibibytes on Linux
	}
	return uint64(usage.Maxrss) << 10
}
