package rules

// Version of the tool, as reports and the server give it.
const Version = "0.1.0"
