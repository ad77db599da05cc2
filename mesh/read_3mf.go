package mesh

import "context"

func read3MF(_ context.Context, in *input) (*raw, error) {
	return nil, in.bad(helpFormat, "3MF is not read yet")
}

func readOBJ(_ context.Context, in *input) (*raw, error) {
	return nil, in.bad(helpFormat, "OBJ is not read yet")
}

func readPLY(_ context.Context, in *input) (*raw, error) {
	return nil, in.bad(helpFormat, "PLY is not read yet")
}
