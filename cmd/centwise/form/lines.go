package form

import (
	"bufio"
	"context"
	"fmt"
	"io"
)

// maxLine bounds what one line may hold, in bytes.
const maxLine = 64 << 10

// Lines reads input line by line, for everything that a command asks: one reader
// for all, so that lines typed or piped ahead wait for the questions they are
// for. It is not for several goroutines.
type Lines struct {
	scanner *bufio.Scanner
	coming  chan line // of a read that a cancelled Next left behind
}

type line struct {
	text string
	err  error
}

// NewLines reads from in, which nobody else may read from then on.
func NewLines(in io.Reader) *Lines {
	s := bufio.NewScanner(in)
	s.Buffer(nil, maxLine)
	return &Lines{scanner: s}
}

// Next waits for the next line and gives it without its end. The error is
// [ErrEnded] after the last line, the context's when that is cancelled (the line
// then goes to the Next after that), or what went wrong with reading.
func (l *Lines) Next(ctx context.Context) (string, error) {
	if err := ctx.Err(); err != nil {
		return "", err
	}
	if l.coming == nil {
		coming := make(chan line, 1)
		l.coming = coming
		go func() { coming <- l.read() }()
	}
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case got := <-l.coming:
		l.coming = nil
		return got.text, got.err
	}
}

func (l *Lines) read() line {
	if l.scanner.Scan() {
		return line{text: l.scanner.Text()}
	}
	if err := l.scanner.Err(); err != nil {
		return line{err: fmt.Errorf("reading an answer: %w", err)}
	}
	return line{err: ErrEnded}
}
