package mesh_test

import (
	"flag"
	"fmt"
	"io"
	"os"
	"testing"

	"corbel/mesh/meshtest/accuracy"
)

var accuracyTable = flag.Bool("accuracy", false, "print the worst error of every measurement by family of shapes, and fail if one has none")

// TestMain prints the table once the tests have run. Where all of them ran, a
// measurement that none of them holds to a band is a failure, asked or not.
func TestMain(m *testing.M) {
	code := m.Run()
	all := true
	for _, name := range []string{"run", "skip", "list", "fuzz"} {
		all = all && flag.Lookup("test."+name).Value.String() == ""
	}
	out := io.Discard
	if *accuracyTable {
		out = os.Stdout
	}
	missing, err := accuracy.Print(out)
	if (all && code == 0 || *accuracyTable) && (len(missing) > 0 || err != nil) {
		fmt.Println("nothing holds these measurements to their bands:", missing, err)
		code = max(code, 1)
	}
	os.Exit(code)
}
