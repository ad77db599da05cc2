package mesh

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// put writes a file for Load.
func put(t testing.TB, name string, data []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestLoadBothSTLForms(t *testing.T) {
	want := wavy(5000)
	for _, data := range [][]byte{binarySTL(want), asciiSTL(want)} {
		m, err := Load(t.Context(), put(t, "a.stl", data), LoadOptions{Unit: "in"})
		if err != nil {
			t.Fatal(err)
		}
		if len(m.Verts) != len(want.Verts) || len(m.Facets) != len(want.Facets) || !m.Topology().Closed() {
			t.Errorf("%s: %d vertices, %d facets, want %d and %d, closed", m.Source.Format, len(m.Verts), len(m.Facets), len(want.Verts), len(want.Facets))
		}
		if s := m.Box().Size(); s[0] != 100*25.4 || s[1] != 100*25.4 {
			t.Errorf("%s: size %v, want 100 inches", m.Source.Format, s)
		}
	}
}

func TestLoadWithoutUnit(t *testing.T) {
	file := put(t, "a.stl", binarySTL(wavy(50)))
	var e *ReadError
	if _, err := Load(t.Context(), file, LoadOptions{}); !errors.Is(err, ErrUnit) || !errors.As(err, &e) || e.Help == "" {
		t.Errorf("no unit: got %v", err)
	}
	if _, err := Load(t.Context(), file, LoadOptions{Unit: "furlong"}); !errors.Is(err, ErrUnit) {
		t.Errorf("unknown unit: got %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Load(ctx, file, LoadOptions{Unit: "mm"}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
}
