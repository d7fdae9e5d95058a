package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// The password of an address is not where everybody on the machine sees it.
func TestPasswordIsNotAmongTheArguments(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0") // so that the program waits
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	address := fmt.Sprintf("postgres://reed:sesame@%s/lantern", silent.Addr())
	for _, args := range [][]string{
		{"horn", "list", "--catalog", address}, {"horn", "list", "--catalog=" + address}, {"horn", "list", "--catalog", address + "?password=sesame"},
	} {
		if shown := argumentsShown(t, args); strings.Contains(shown, "sesame") || !strings.Contains(shown, "horn\x00list\x00") ||
			!strings.Contains(shown, fmt.Sprintf("postgres://reed@%s/lantern", silent.Addr())) {
			t.Errorf("shown: %q", shown)
		}
	}
}

// argumentsShown runs centwise, which waits for a server, and gives what the
// system shows of its arguments once that has changed.
func argumentsShown(t *testing.T, args []string) string {
	t.Helper()
	cmd := exec.Command("centwise", args...)
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "HOME=" + t.TempDir()}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		cmd.Process.Kill()
		cmd.Wait()
	}()
	given := "centwise\x00" + strings.Join(args, "\x00") + "\x00"
	for range 1000 {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", cmd.Process.Pid))
		if err != nil {
			t.Fatal(err)
		}
		if len(b) > 0 && string(b) != given { // none while the program is loaded
			return string(b)
		}
		time.Sleep(10 * time.Millisecond)
	}
	return given
}
