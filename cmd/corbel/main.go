// Command corbel checks the design of metal additive-manufacturing parts.
package main

func main() {}
