package simulate

import (
	"os"
	"runtime/debug"
)

// ForgetPeak gives memory back that is no longer used and has the kernel forget how
// much this process held at most: a process that it starts from now on is counted
// from what is held now (proc_pid_clear_refs(5)).
func ForgetPeak() {
	debug.FreeOSMemory()
	// Where this is not allowed, figures of small processes are too large.
	_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0)
}
