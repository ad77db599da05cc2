package lsp

import (
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// The extension offers each setting that the server knows, and no other.
func TestExtensionOffersTheSettings(t *testing.T) {
	text, err := os.ReadFile("editors/vscode/package.json")
	if err != nil {
		t.Fatal(err)
	}
	var manifest struct {
		Contributes struct {
			Configuration struct{ Properties map[string]any }
		}
	}
	if err := json.Unmarshal(text, &manifest); err != nil {
		t.Fatal(err)
	}
	var offered, known []string
	for name := range manifest.Contributes.Configuration.Properties {
		if name != "corbel.command" { // the extension's own
			offered = append(offered, strings.TrimPrefix(name, "corbel."))
		}
	}
	for i := range reflect.TypeFor[settings]().NumField() {
		if name := reflect.TypeFor[settings]().Field(i).Tag.Get("json"); name != "diagnostics" { // VS Code takes what is pushed
			known = append(known, name)
		}
	}
	slices.Sort(offered)
	slices.Sort(known)
	if !slices.Equal(offered, known) {
		t.Errorf("the extension offers %q, the server knows %q", offered, known)
	}
}
