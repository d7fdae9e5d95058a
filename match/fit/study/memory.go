package main

import (
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// watchMemory samples what the Go runtime holds until stop is called, which
// gives the most it held, in bytes, above what it held at the start.
func watchMemory() (stop func() uint64) {
	debug.FreeOSMemory()
	start, peak := held(), uint64(0)
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			peak = max(peak, held())
			select {
			case <-done:
				return
			case <-tick.C:
			}
		}
	}()
	return func() uint64 {
		close(done)
		<-ended
		return max(peak, start) - start
	}
}

// held is the memory mapped by the runtime and not given back.
func held() uint64 {
	samples := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	metrics.Read(samples)
	return samples[0].Value.Uint64() - samples[1].Value.Uint64()
}
