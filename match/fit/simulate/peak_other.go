//go:build !linux && !darwin

package simulate

import "os"

// PeakMemory is not known on this system.
func PeakMemory(*os.ProcessState) uint64 { return 0 }
