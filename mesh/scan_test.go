package mesh

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

func TestParseNumber(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	check := func(s string) {
		t.Helper()
		want, err := strconv.ParseFloat(s, 64)
		got, ok := parseNumber([]byte(s))
		if ok != (err == nil) || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q is %v (%v), want %v (%v)", s, got, ok, want, err)
		}
	}
	for _, s := range []string{"0", "-0", "+5", ".5", "5.", "1e5", "1E-5", "1.5e+22", "1e23", "9007199254740993", "123456789012345678901234567890",
		"0.000000000000000000000000000000000000000000001", "1e-400", "1e400", "-1e999", "1.7976931348623157e308", "5e-324", "1e", "e5", ".", "+", "", "--1", "1.2.3", "1e+", "1e99999999999999999999"} {
		check(s)
	}
	for range 200_000 {
		x := math.Float64frombits(rng.Uint64())
		if x-x != 0 {
			continue // not a number, or infinite
		}
		switch rng.IntN(4) {
		case 0:
			check(strconv.FormatFloat(x, 'g', -1, 64))
		case 1:
			check(fmt.Sprintf("%.*e", rng.IntN(20), x))
		case 2:
			check(fmt.Sprintf("%.*f", rng.IntN(20), rng.NormFloat64()*1000))
		case 3:
			check(fmt.Sprintf("%d.%0*de%d", rng.IntN(100), 1+rng.IntN(18), rng.IntN(1e9), rng.IntN(60)-30))
		}
	}
	// What strconv takes, but no mesh file means.
	for _, s := range []string{"nan", "inf", "-Infinity", "0x1p4", "1_000", "1,5"} {
		if v, ok := parseNumber([]byte(s)); ok {
			t.Errorf("%q was read as %v", s, v)
		}
	}
	for s, want := range map[string]int64{"0": 0, "-12": -12, "+7": 7, "999999999999999999": 999999999999999999} {
		if v, ok := parseIndex([]byte(s)); !ok || v != want {
			t.Errorf("%q is %d, %v", s, v, ok)
		}
	}
	for _, s := range []string{"", "-", "1.0", "1e3", "9999999999999999999", "a"} {
		if v, ok := parseIndex([]byte(s)); ok {
			t.Errorf("%q was read as %d", s, v)
		}
	}
}

func TestScanner(t *testing.T) {
	s := scanner{data: []byte(" a\tb \r\n\n c\rd \v\f e")}
	var got []string
	for w := s.word(); len(w) > 0; w = s.word() {
		got = append(got, string(w))
	}
	if strings.Join(got, "|") != "a|b|c|d|e" {
		t.Errorf("words %q", got)
	}
	for _, end := range []string{"\n", "\r", "\r\n"} {
		s = scanner{data: []byte(strings.Join([]string{"a b", "", "c", "d"}, end))}
		if w := s.lineWord(); string(w) != "a" || s.line() != 1 {
			t.Errorf("%q: first word %q", end, w)
		}
		for _, want := range []string{"", "c", "d"} {
			s.skipLine()
			if w := s.lineWord(); string(w) != want {
				t.Errorf("%q: line starts with %q, want %q", end, w, want)
			}
		}
		if s.line() != 4 || len(s.lineWord()) > 0 {
			t.Errorf("%q: %d lines", end, s.line())
		}
	}
}
