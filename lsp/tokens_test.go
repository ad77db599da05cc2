package lsp

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// decodeTokens gives each word with its kind, as an editor reads the numbers.
func decodeTokens(t *testing.T, e *lsptest.Editor, path string, legend protocol.SemanticTokensLegend, data []uint32) []string {
	t.Helper()
	text := e.Content(path)
	lines := newLineTable([]byte(text))
	var out []string
	at := protocol.Position{}
	for five := range slices.Chunk(data, 5) {
		if five[0] > 0 {
			at.Character = 0
		}
		at.Line, at.Character = at.Line+five[0], at.Character+five[1]
		end := at
		end.Character += five[2]
		word := text[lines.offset(at, e.Unit):lines.offset(end, e.Unit)]
		label := legend.TokenTypes[five[3]]
		if five[4] != 0 {
			label += " " + legend.TokenModifiers[0]
		}
		out = append(out, fmt.Sprintf("%s=%s", word, label))
	}
	return out
}

func TestSemanticTokens(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"a.part.toml", "# ä 🔩 hi\npart = \"\"\"x\ny\"\"\" # 🔩\nmachine = \"bay 2\"\nuse = \"flight\"\n[orientation]\nturn = \"15 deg\"\n[[void]]\nat = [1, 2.5, 3]\nsealed = false\n[limits]\nwall.thickness = { value = \"0.5 mm\", source = \"s\" }\n", []string{
			"# ä 🔩 hi=comment", "part=property", `"""x=string`, `y"""=string`, "# 🔩=comment",
			"machine=property", `"bay 2"=variable`, "use=property", `"flight"=enumMember`,
			"orientation=namespace", "turn=property", "15=number", "deg=type",
			"void=namespace", "at=property", "1=number", "2.5=number", "3=number", "sealed=property", "false=keyword",
			"limits=namespace", "wall=property", "thickness=property", "value=property", "0.5=number", "mm=type", "source=property", `"s"=string`,
		}},
		{"shop.toml", "[[machine]]\nname = 'm'\nbuild = { x = \"2 mm\" }\nnonsense = 1 1\n[limits.\"PBF-LB/M\".machine.m]\n", []string{
			"machine=namespace", "name=property", "'m'=variable declaration", "build=property", "x=property", "2=number", "mm=type",
			"nonsense=property", "limits=namespace", `"PBF-LB/M"=namespace`, "machine=namespace", "m=namespace",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := startReal(t, Options{})
			init := e.Initialize(nil)
			legend := init.Capabilities.SemanticTokensProvider.(*protocol.SemanticTokensOptions).Legend
			path := strings.TrimSuffix(specPath(t), "bracket.part.toml") + c.name
			e.Open(path, c.text)
			params := &protocol.SemanticTokensParams{}
			params.TextDocument.URI = uriOf(path)
			var got protocol.SemanticTokens
			if err := e.Call(protocol.MethodTextDocumentSemanticTokensFull, params, &got); err != nil {
				t.Fatal(err)
			}
			if words := decodeTokens(t, e, path, legend, got.Data); !slices.Equal(words, c.want) {
				t.Errorf("words are\n%q\nwant\n%q", words, c.want)
			}
			part := &protocol.SemanticTokensRangeParams{TextDocument: params.TextDocument}
			part.Range = lsptest.Range(c.text, 0, len(c.want[0])-strings.Index(c.want[0], "=")-1, e.Unit)
			var some protocol.SemanticTokens
			if err := e.Call(protocol.MethodTextDocumentSemanticTokensRange, part, &some); err != nil {
				t.Fatal(err)
			}
			if n := len(some.Data); n == 0 || n >= len(got.Data) || !slices.Equal(some.Data, got.Data[:n]) {
				t.Errorf("the first line has %v", some.Data)
			}
		})
	}
}

// What has changed, put into what the editor has, is what a fresh start gives.
func TestTokensThatChanged(t *testing.T) {
	for _, asks := range []bool{true, false} {
		t.Run(fmt.Sprintf("asks %v", asks), func(t *testing.T) {
			e := startReal(t, Options{})
			c := &protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{}}
			c.TextDocument.SemanticTokens.Requests.Full = &protocol.ClientSemanticTokensRequestFullDelta{Delta: &asks}
			provider := e.Initialize(c).Capabilities.SemanticTokensProvider.(*protocol.SemanticTokensOptions)
			if d := provider.Full.(*protocol.SemanticTokensFullDelta); is(d.Delta) != asks {
				t.Errorf("announced %v", is(d.Delta))
			}
			path := specPath(t)
			e.Open(path, plateText)
			all := func() (out protocol.SemanticTokens) {
				params := &protocol.SemanticTokensParams{}
				params.TextDocument.URI = uriOf(path)
				if err := e.Call(protocol.MethodTextDocumentSemanticTokensFull, params, &out); err != nil {
					t.Fatal(err)
				}
				return out
			}
			first := all()
			if !asks {
				if first.ResultID != nil {
					t.Errorf("tokens are named %q", *first.ResultID)
				}
				return
			}
			followTokens(t, e, path, first, all)
		})
	}
}

// followTokens edits a text at random and keeps its tokens by their changes.
func followTokens(t *testing.T, e *lsptest.Editor, path string, now protocol.SemanticTokens, all func() protocol.SemanticTokens) {
	rng := rand.New(rand.NewPCG(31, 32))
	data, id := now.Data, *now.ResultID
	small := 0
	for range 200 {
		start, end, insert := randomEdit(rng, e.Content(path))
		e.Edit(path, start, end, insert)
		params := &protocol.SemanticTokensDeltaParams{PreviousResultID: id}
		params.TextDocument.URI = uriOf(path)
		var got protocol.SemanticTokensDelta
		if err := e.Call(protocol.MethodTextDocumentSemanticTokensFullDelta, params, &got); err != nil {
			t.Fatal(err)
		}
		sent := 0
		for _, x := range slices.Backward(got.Edits) {
			data = slices.Concat(data[:x.Start], x.Data, data[x.Start+x.DeleteCount:])
			sent += len(x.Data)
		}
		if sent < len(data)/2 {
			small++
		}
		fresh := all()
		if !slices.Equal(data, fresh.Data) {
			t.Fatalf("after %q the tokens are %v, want %v", e.Content(path), data, fresh.Data)
		}
		id = *fresh.ResultID
	}
	if small < 100 {
		t.Errorf("only %d of 200 changes were smaller than the tokens themselves", small)
	}
	params := &protocol.SemanticTokensDeltaParams{PreviousResultID: "nobody's"}
	params.TextDocument.URI = uriOf(path)
	var whole protocol.SemanticTokens
	if err := e.Call(protocol.MethodTextDocumentSemanticTokensFullDelta, params, &whole); err != nil || !slices.Equal(whole.Data, data) {
		t.Errorf("for an unknown name the tokens are %v, %v", whole.Data, err)
	}
}

func TestSelectionGrows(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := specPath(t)
	const text = "part = \"x\"\n\n[[hole]]\nname = \"µ seat\"\nat = [10, 6]\n\n[limits]\nwall.thickness = { value = \"0.5 mm\" }\n"
	e.Open(path, text)
	params := &protocol.SelectionRangeParams{}
	params.TextDocument.URI = uriOf(path)
	on := []string{"seat", "6]", "0.5"}
	for _, piece := range on {
		params.Positions = append(params.Positions, lsptest.Position(text, strings.Index(text, piece)+1, e.Unit))
	}
	var got []protocol.SelectionRange
	if err := e.Call(protocol.MethodTextDocumentSelectionRange, params, &got); err != nil {
		t.Fatal(err)
	}
	lines := newLineTable([]byte(text))
	hole := "[[hole]]\nname = \"µ seat\"\nat = [10, 6]"
	limits := strings.TrimSpace(text[strings.Index(text, "[limits]"):])
	for i, want := range [][]string{
		{"µ seat", `"µ seat"`, `name = "µ seat"`, hole, text},
		{"6", "[10, 6]", "at = [10, 6]", hole, text},
		{"0.5 mm", `"0.5 mm"`, `value = "0.5 mm"`, `{ value = "0.5 mm" }`, `thickness = { value = "0.5 mm" }`, `wall.thickness = { value = "0.5 mm" }`, limits, text},
	} {
		var ranges []string
		for r := &got[i]; r != nil; r = r.Parent {
			ranges = append(ranges, text[lines.offset(r.Range.Start, e.Unit):lines.offset(r.Range.End, e.Unit)])
		}
		if !slices.Equal(ranges, want) {
			t.Errorf("around %q is\n%q\nwant\n%q", on[i], ranges, want)
		}
	}
}

// Every position of a broken text has ranges that contain it and each other.
func TestSelectionsNest(t *testing.T) {
	for _, text := range []string{"", "a", plateText[:200], "x = [1, { a = \"", "[[hole", "a = 1\r\n[b]\rc.d = 2"} {
		p := newDocument("file:///w/a.part.toml", 1, []byte(text), protocol.PositionEncodingKindUTF8).parse()
		for offset := range len(text) + 1 {
			ranges := around(p, offset)
			if len(ranges) == 0 {
				t.Fatalf("%q: nothing around %d", text, offset)
			}
			for i, r := range ranges {
				if r.Start > offset || r.End < offset || i > 0 && (r.Start > ranges[i-1].Start || r.End < ranges[i-1].End) {
					t.Errorf("%q: around %d are %v", text, offset, ranges)
				}
			}
		}
	}
}
