//go:build !unix

package pgtest

import (
	"errors"
	"os/exec"
)

// owner is whom the server runs as.
type owner struct{}

func unprivileged() (*owner, error) { return nil, errors.New("servers are started on Unix only") }

func (o *owner) takes(string) error { return nil }

func (o *owner) command(name string, args ...string) *exec.Cmd { return exec.Command(name, args...) }
