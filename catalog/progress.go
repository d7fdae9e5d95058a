package catalog

// Counter is told how long work gets on; the user interface decides what to
// show of it. Implementations must be safe for use from several goroutines.
type Counter interface {
	Start(what string, total int64) // a new stage; total 0 = not known
	Add(n int64)
	Done()
}

// NoCounter shows nothing.
type NoCounter struct{}

// Start, Add and Done do nothing.
func (NoCounter) Start(string, int64) {}
func (NoCounter) Add(int64)           {}
func (NoCounter) Done()               {}
