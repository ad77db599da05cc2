package spec

// Nearest returns the name of the list that was probably meant, or "" when
// none is close enough to be a slip of the hand.
func Nearest(written string, names []string) string { return nearest(written, names) }
