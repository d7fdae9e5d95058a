//go:build linux || darwin

package main

import (
	"os"
	"runtime"
	"syscall"
)

// peakMemory is the most resident memory a finished process held, bytes.
func peakMemory(state *os.ProcessState) uint64 {
	usage, ok := state.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	if runtime.GOOS == "darwin" {
		return uint64(usage.Maxrss) // bytes there, kibibytes on Linux
	}
	return uint64(usage.Maxrss) << 10
}
