package cli

import (
	"context"
	"os/exec"
	"strings"
	"testing"
)

// Every shell that is at hand reads its script without complaint.
func TestCompletionScripts(t *testing.T) {
	for _, shell := range shells {
		s, out, errOut := Test("")
		if code := Run(context.Background(), NewFactory(s), []string{"completion", shell}); code != exitOK || out.Len() < 1000 {
			t.Errorf("%s: ended with %d and %d bytes: %s", shell, code, out.Len(), errOut)
		}
		program, err := exec.LookPath(shell)
		if err != nil {
			t.Logf("no %s here to read its script", shell)
			continue
		}
		if shell == "powershell" {
			continue // it has no way to read a script without running it
		}
		read := exec.Command(program, "-n")
		read.Stdin = strings.NewReader(out.String())
		if said, err := read.CombinedOutput(); err != nil || len(said) > 0 {
			t.Errorf("%s says of its script: %v: %s", shell, err, said)
		}
	}
	s, _, errOut := Test("")
	if code := Run(context.Background(), NewFactory(s), []string{"completion", "tcsh"}); code != exitUsage || !strings.Contains(errOut.String(), "bash, zsh, fish") {
		t.Errorf("an unknown shell ended with %d: %s", code, errOut)
	}
}

// What the scripts ask the program: commands, flags and the words that flags take.
func TestCompletionAnswers(t *testing.T) {
	for typed, want := range map[string][]string{
		"ra":          {"rank\t"},
		"catalog ":    {"backup\t", "check\t", "info\t"},
		"rank --ho":   {"--horn\t"},
		"help ":       {"measuring", "privacy"},
		"completion ": {"bash", "fish", "zsh"},
	} {
		s, out, errOut := Test("")
		args := append([]string{"__complete"}, strings.Split(typed, " ")...)
		if code := Run(context.Background(), NewFactory(s), args); code != exitOK {
			t.Fatalf("%q ended with %d: %s", typed, code, errOut)
		}
		for _, text := range want {
			if !strings.Contains("\n"+out.String(), "\n"+text) {
				t.Errorf("%q is not completed by %q but by\n%s", typed, text, out)
			}
		}
	}
}
