package main

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"corbel": main})
}

// The scripts drive the real program: arguments, streams, exit codes, files.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			demo, err := filepath.Abs("../../testdata/demo")
			e.Setenv("DEMO", demo)
			e.Setenv("NO_COLOR", "1")
			e.Setenv("CORBEL_CACHE", filepath.Join(e.WorkDir, ".cache"))
			e.Setenv("ROOT", filepath.Join(demo, "..", ".."))
			return err
		},
		Condition: func(cond string) (bool, error) {
			if cond == "root" {
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"code":   code,
			"block":  block,
			"bytes":  repeat,
			"step":   step,
			"recipe": recipe,
			"shown":  shown,
		},
	})
}

// code N COMMAND...: runs a command that must exit with that code.
func code(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		coder, ok := err.(interface{ ExitCode() int })
		if !ok {
			ts.Fatalf("%v", err)
		}
		got = coder.ExitCode()
	}
	if got != want {
		ts.Fatalf("%v: exit code %d, want %d", args[1:], got, want)
	}
}

// block FILE DX DY DZ: writes a block as binary STL.
func block(ts *testscript.TestScript, _ bool, args []string) {
	var d [3]float64
	for k := range d {
		v, err := strconv.ParseFloat(args[k+1], 64)
		ts.Check(err)
		d[k] = v
	}
	corner := func(i int) [3]float64 {
		return [3]float64{float64(i&1) * d[0], float64(i>>1&1) * d[1], float64(i>>2&1) * d[2]}
	}
	out := make([]byte, 80, 84+12*50)
	out = binary.LittleEndian.AppendUint32(out, 12)
	for _, q := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {1, 3, 7, 5}, {3, 2, 6, 7}, {2, 0, 4, 6}} {
		for _, t := range [][3]int{{q[0], q[1], q[2]}, {q[0], q[2], q[3]}} {
			out = append(out, make([]byte, 12)...)
			for _, i := range t {
				for _, x := range corner(i) {
					out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x)))
				}
			}
			out = append(out, 0, 0)
		}
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), out, 0o666))
}

// bytes FILE COUNT TEXT [HEAD]: writes HEAD and then TEXT COUNT times; \n, \0
// and \t in them are what they look like.
func repeat(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	plain := strings.NewReplacer(`\n`, "\n", `\0`, "\x00", `\t`, "\t", `\f`, "\xff").Replace
	head := ""
	if len(args) > 3 {
		head = plain(args[3])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(head+strings.Repeat(plain(args[2]), n)), 0o666))
}

// shown FILE: the first plain block of a Markdown file shows a part of what the
// last command printed, word for word.
func shown(ts *testscript.TestScript, _ bool, args []string) {
	_, rest, _ := strings.Cut(ts.ReadFile(args[0]), "\n\n```\n")
	block, _, found := strings.Cut(rest, "\n```\n")
	if !found {
		ts.Fatalf("%s has no plain block", args[0])
	}
	if out := ts.ReadFile("stdout"); !strings.Contains(out, block) {
		ts.Fatalf("%s shows\n%s\nbut what was printed is\n%s", args[0], block, out)
	}
}
