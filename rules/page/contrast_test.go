package page

import (
	"fmt"
	"math"
	"regexp"
	"testing"
)

// Text is read by everyone in both themes: WCAG 2.1, success criterion 1.4.3,
// asks for a contrast of 4.5 between text and what is behind it.
func TestContrast(t *testing.T) {
	for theme := range 2 {
		colours := themeColours(t, theme)
		for _, text := range []string{"ink", "soft", "accent", "error", "warning-ink", "note", "waived"} {
			behind := []string{"sheet"}
			if text == "ink" || text == "soft" || text == "error" {
				behind = append(behind, "ground")
			}
			for _, b := range behind {
				if c := contrast(colours[text], colours[b]); c < 4.5 {
					t.Errorf("theme %d: %s on %s has a contrast of %.2f", theme, text, b, c)
				}
			}
		}
		// A chosen finding stands on a tint of its level: see .finding.chosen.
		for level, word := range map[string]string{"error": "error", "warning": "warning-ink", "note": "note", "waived": "waived"} {
			tint := blend(colours[level], colours["sheet"], 0.06)
			for _, text := range []string{"ink", "soft", word} {
				if c := contrast(colours[text], tint); c < 4.5 {
					t.Errorf("theme %d: %s on chosen %s has a contrast of %.2f", theme, text, level, c)
				}
			}
		}
		if c := contrast(colours["accent-ink"], colours["accent"]); c < 4.5 {
			t.Errorf("theme %d: a pressed button has a contrast of %.2f", theme, c)
		}
	}
}

// themeColours reads the colours of the style: 0 light, 1 dark.
func themeColours(t *testing.T, theme int) map[string][3]float64 {
	t.Helper()
	out := map[string][3]float64{}
	for _, m := range regexp.MustCompile(`--([a-z-]+):light-dark\(#([0-9a-f]+),#([0-9a-f]+)\)`).FindAllStringSubmatch(styleText, -1) {
		hex := m[2+theme]
		if len(hex) == 3 {
			hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
		}
		var c [3]int
		if _, err := fmt.Sscanf(hex, "%02x%02x%02x", &c[0], &c[1], &c[2]); err != nil {
			t.Fatalf("%s: %v", m[0], err)
		}
		out[m[1]] = [3]float64{float64(c[0]) / 255, float64(c[1]) / 255, float64(c[2]) / 255}
	}
	if len(out) < 12 {
		t.Fatalf("only %d colours in the style", len(out))
	}
	return out
}

func blend(a, b [3]float64, share float64) (out [3]float64) {
	for k := range out {
		out[k] = share*a[k] + (1-share)*b[k]
	}
	return out
}

// contrast is the contrast ratio of WCAG 2.1.
func contrast(a, b [3]float64) float64 {
	luminance := func(c [3]float64) float64 {
		for k, x := range c {
			if x <= 0.04045 {
				c[k] = x / 12.92
			} else {
				c[k] = math.Pow((x+0.055)/1.055, 2.4)
			}
		}
		return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}
