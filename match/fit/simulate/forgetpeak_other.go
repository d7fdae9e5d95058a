//go:build !linux

package simulate

// ForgetPeak is needed on Linux alone.
func ForgetPeak() {}
