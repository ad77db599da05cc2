package rules

// Caution is a note where following or ignoring a finding could hurt someone.
type Caution struct {
	Code string // "C1"
	Text string
}
