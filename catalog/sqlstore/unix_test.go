//go:build unix

package sqlstore_test

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// nobody is the usual number of a user without rights.
const nobody = 65534

// A catalog that cannot be written is read. Rights do not bind the
// administrator, so as one the test lets another user look.
func TestUnwritableCatalog(t *testing.T) {
	for _, tc := range []struct {
		name           string
		file, folder   os.FileMode
		journalsBeside bool
	}{
		{"file", 0o444, 0o777, false},
		{"folder", 0o444, 0o555, false},
		{"file while another writes", 0o444, 0o555, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir, err := os.MkdirTemp("", "centwise-test-")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.Chmod(dir, 0o700); os.RemoveAll(dir) })
			path := filepath.Join(dir, "catalog.db")
			program := filepath.Join(dir, "program")
			copyFile(t, small(t), path, tc.file)
			copyFile(t, os.Args[0], program, 0o555)
			if tc.journalsBeside {
				os.Chmod(path, 0o644)
				db := raw(t, path)
				execSQL(t, db, `UPDATE catalog SET title = 'x'`)
				os.Chmod(path, tc.file)
				os.Chmod(path+"-wal", 0o444)
				os.Chmod(path+"-shm", 0o444)
			}
			if err := os.Chmod(dir, tc.folder); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(program)
			cmd.Env = append(os.Environ(), taskVariable+"=read-only", pathVariable+"="+path)
			if os.Getuid() == 0 {
				cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
			}
			out, err := cmd.CombinedOutput()
			if err != nil || string(out) != "done\n" {
				t.Errorf("%s (error %v)", out, err)
			}
		})
	}
}

func copyFile(t *testing.T, from, to string, mode os.FileMode) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(to, mode); err != nil {
		t.Fatal(err)
	}
}
