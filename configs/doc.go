// Package configs turns the text of a configuration file into checked
// settings for every room of the program.
//
// The text form is the type file: its Go types and their field tags say
// everything about a key. [Load] decodes the text, checks it and fills the
// checked form, a [Config], or reports every [Problem] at once, each with its
// place in the file and with what would be right. What passed is never checked
// again.
//
// # What a file looks like
//
// One YAML document. A quantity carries its unit ("10 MPa", "1450 psi"); a bare
// number for a quantity, an unknown key and a key without a value are problems.
// Anchors and aliases work, so that devices of one kind can share one list of
// points; merge keys and tags do not. [Reference] is a complete, commented
// example.
//
// # What Load does not do
//
// It opens no file, so that a configuration can be checked away from the
// gateway: certificates and password are read by whoever connects. The zone
// database for site.time_zone is looked up on the machine and, where it has
// none, in the program.
package configs
