package server

import (
	"io"
	"net/http"
	"time"
)

// Whoever sends or takes less than slowest keeps a connection and memory for
// nothing: after a grace, bodies must move at that pace on the whole.
const (
	grace   = 20 * time.Second
	slowest = 8 << 10 // bytes a second
)

// pace is a deadline that moves on with every byte.
type pace struct {
	start time.Time
	grace time.Duration
	bytes int64
}

func (p *pace) deadline() time.Time {
	return p.start.Add(p.grace + time.Duration(float64(p.bytes)/slowest*float64(time.Second)))
}

// pacedBody is a body that must come at a pace.
type pacedBody struct {
	io.ReadCloser
	control *http.ResponseController
	pace
}

func (b *pacedBody) Read(p []byte) (int, error) {
	if err := b.control.SetReadDeadline(b.deadline()); err != nil {
		return 0, err
	}
	n, err := b.ReadCloser.Read(p)
	b.bytes += int64(n)
	return n, err
}

// writePaced writes an answer that must be taken at a pace.
func writePaced(w http.ResponseWriter, grace time.Duration, body []byte) error {
	control := http.NewResponseController(w)
	p := pace{start: time.Now(), grace: grace}
	for len(body) > 0 {
		if err := control.SetWriteDeadline(p.deadline()); err != nil {
			return err
		}
		n, err := w.Write(body[:min(len(body), 64<<10)])
		if err != nil {
			return err
		}
		p.bytes += int64(n)
		body = body[n:]
	}
	return nil
}
