//go:build unix

package pgtest

import (
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"
)

// owner is whom the server runs as: PostgreSQL refuses the administrator.
type owner struct {
	credential *syscall.Credential // nil for whoever runs the test
}

// unprivileged finds somebody without rights where the test has all of them.
func unprivileged() (*owner, error) {
	if os.Getuid() != 0 {
		return &owner{}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.ParseUint(u.Uid, 10, 32)
		if err != nil {
			continue
		}
		gid, err := strconv.ParseUint(u.Gid, 10, 32)
		if err != nil {
			continue
		}
		return &owner{&syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}, nil
	}
	return nil, fmt.Errorf("there is no user postgres or nobody to run the server as")
}

// takes hands a folder over.
func (o *owner) takes(folder string) error {
	if o.credential == nil {
		return nil
	}
	return os.Chown(folder, int(o.credential.Uid), int(o.credential.Gid))
}

// command is a program that runs as the owner, in a group of its own: Ctrl-C is
// for the test.
func (o *owner) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Dir = "/"
	cmd.Env = []string{"PATH=/usr/bin:/bin", "LC_ALL=C.UTF-8", "TZ=UTC"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: o.credential}
	return cmd
}
