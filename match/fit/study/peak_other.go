//go:build !linux && !darwin

package main

import "os"

// peakMemory is not known on this system.
func peakMemory(*os.ProcessState) uint64 { return 0 }
