package mqtt

import "embed"

// Schemas has one JSON Schema (draft 2020-12) for each kind of payload:
// schema/event.json describes payloads whose schema is "pumpside/v1/event".
//
//go:embed schema/*.json
var Schemas embed.FS
