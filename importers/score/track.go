package score

import "fmt"

// The events of a track that matter here (Standard MIDI Files 1.0).
const (
	noteOff        = 0x80
	noteOn         = 0x90
	controlChange  = 0xB0
	programChange  = 0xC0
	channelPress   = 0xD0
	systemBegin    = 0xF0
	systemContinue = 0xF7
	meta           = 0xFF

	metaTrackName  = 0x03
	metaInstrument = 0x04
	metaEnd        = 0x2F
	metaTempo      = 0x51

	controlSoundOff = 120
	controlNotesOff = 123
)

// trackReader goes through the events of a track. Own code because the readers
// that were tried stop the program at bytes that are no event, pass over a cut
// event in silence, and take as much memory as a length in the file claims.
type trackReader struct {
	*sequence
	track  *track
	data   []byte
	at     int
	status byte // the running one, for events without their first byte; 0 = none
}

// read reads all events up to the end of the track.
func (r *trackReader) read() error {
	for r.at < len(r.data) {
		delta, err := r.quantity()
		if err != nil {
			return err
		}
		r.track.end += int64(delta)
		if r.at == len(r.data) {
			return r.cut()
		}
		ended, err := r.event()
		if err != nil {
			return err
		}
		if ended {
			break
		}
	}
	r.close()
	return nil
}

// event reads an event. Sysex events end the running status; meta events should,
// but files are met where it goes on behind them.
func (r *trackReader) event() (ended bool, err error) {
	first := r.data[r.at]
	switch {
	case first < 0x80 && r.status == 0:
		return false, r.errorf("%02X is no event", first)
	case first < 0x80:
		return false, r.voice(r.status)
	}
	r.at++
	switch {
	case first < systemBegin:
		r.status = first
		return false, r.voice(first)
	case first == meta:
		return r.meta()
	case first == systemBegin || first == systemContinue:
		r.status = 0
		_, err := r.bytes()
		return false, err
	}
	r.at--
	return false, r.errorf("%02X is no event of a file", first)
}

// voice reads a channel's message.
func (r *trackReader) voice(status byte) error {
	kind := status & 0xF0
	n := 2
	if kind == programChange || kind == channelPress {
		n = 1
	}
	if r.at+n > len(r.data) {
		return r.cut()
	}
	args := r.data[r.at : r.at+n]
	for i, b := range args {
		if b >= 0x80 {
			r.at += i
			return r.errorf("%02X stands where an event goes on", b)
		}
	}
	r.at += n
	c := r.channel(int(status & 0x0F))
	switch {
	case kind == noteOn && args[1] > 0:
		return r.begin(c, args[0])
	case kind == noteOn || kind == noteOff:
		c.stop(args[0], r.track.end)
	case kind == programChange && c.program == 0:
		c.program = int(args[0]) + 1
	case kind == controlChange && (args[0] == controlSoundOff || args[0] == controlNotesOff):
		for key := range c.sounding {
			c.stop(key, r.track.end)
		}
	}
	return nil
}

func (r *trackReader) channel(number int) *channel {
	c := r.track.channels[number]
	if c == nil {
		c = &channel{track: r.track, number: number, sounding: map[byte]int{}}
		r.track.channels[number] = c
	}
	return c
}

// begin strikes a note; one of the same key that still sounds ends there.
func (r *trackReader) begin(c *channel, key byte) error {
	if len(c.notes) == maxPlayed {
		return invalid("export the player's part alone", "%s: track %d has more than %d notes", r.file, r.track.number, maxPlayed)
	}
	c.stop(key, r.track.end)
	c.sounding[key] = len(c.notes)
	c.notes = append(c.notes, tickNote{r.track.end, r.track.end, key})
	return nil
}

func (c *channel) stop(key byte, tick int64) {
	if i, ok := c.sounding[key]; ok {
		c.notes[i].end = tick
		delete(c.sounding, key)
	}
}

// meta reads a meta event.
func (r *trackReader) meta() (ended bool, err error) {
	if r.at == len(r.data) {
		return false, r.cut()
	}
	kind := r.data[r.at]
	r.at++
	body, err := r.bytes()
	if err != nil {
		return false, err
	}
	switch {
	case kind == metaEnd:
		return true, nil
	case kind == metaTrackName && r.track.name == "":
		r.track.name = textOf(body)
	case kind == metaInstrument && r.track.device == "":
		r.track.device = textOf(body)
	case kind == metaTempo:
		r.tempo(body)
	}
	return false, nil
}

// tempo takes a tempo, in microseconds a quarter note.
func (r *trackReader) tempo(body []byte) {
	microseconds := 0
	for _, b := range body {
		microseconds = microseconds<<8 | int(b)
	}
	if len(body) != 3 || microseconds == 0 {
		r.remarks.add(fmt.Sprintf("A tempo in track %d that says nothing was passed over.", r.track.number))
		return
	}
	r.track.tempos = append(r.track.tempos, tickTempo{r.track.end, float64(microseconds) / 1e6})
}

// close ends what still sounds at the end of the track.
func (r *trackReader) close() {
	for _, c := range r.track.channels {
		if c == nil {
			continue
		}
		c.open = len(c.sounding)
		for key := range c.sounding {
			c.stop(key, r.track.end)
		}
	}
}

// quantity reads a number of variable length: seven bits a byte, four bytes at
// most, the highest bit saying that another byte follows.
func (r *trackReader) quantity() (int, error) {
	v := 0
	for range 4 {
		if r.at == len(r.data) {
			return 0, r.cut()
		}
		b := r.data[r.at]
		r.at++
		v = v<<7 | int(b&0x7F)
		if b < 0x80 {
			return v, nil
		}
	}
	return 0, r.errorf("a number has more than four bytes")
}

// bytes reads a number and as many bytes.
func (r *trackReader) bytes() ([]byte, error) {
	n, err := r.quantity()
	if err != nil {
		return nil, err
	}
	if n > len(r.data)-r.at {
		return nil, r.cut()
	}
	out := r.data[r.at : r.at+n]
	r.at += n
	return out, nil
}

func (r *trackReader) cut() error {
	return invalid(copyAgain, "%s: track %d ends within an event", r.file, r.track.number)
}

func (r *trackReader) errorf(format string, args ...any) error {
	return invalid(exportAgain, "%s: track %d, byte %d: %s", r.file, r.track.number, r.at, fmt.Sprintf(format, args...))
}
