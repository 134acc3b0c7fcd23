package configs

import _ "embed"

// Reference is a complete, commented configuration that loads without problem.
//
//go:embed reference.yaml
var Reference []byte
