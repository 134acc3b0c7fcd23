package alarm

import "strings"

// steps has those steps that turn on how the standby stands: a sentence that
// contradicts the headline above it is not followed. In a list of actions each
// is named as a token.
var steps = map[string]map[string]string{
	// The pump is stopped or moves nothing.
	"take_over": {
		"available":     "Start the standby pump by site procedure.",
		"running":       "See on the screen that the standby pump, which runs already, delivers.",
		"not_available": "No standby is ready: prepare to lower or divert the gas and to turn down the reboiler, by site procedure.",
		"none":          "There is no standby: prepare to lower or divert the gas and to turn down the reboiler, by site procedure.",
		"unknown":       "Start the standby pump, if one is ready, by site procedure; if none is, prepare to lower or divert the gas.",
	},
	// The pump runs and must not for long.
	"change_over": {
		"available":     "Start the standby pump by site procedure, then stop this one.",
		"running":       "The standby pump runs: see that it delivers, then stop this one by site procedure.",
		"not_available": "No standby is ready: prepare to cut back the gas, and stop this pump as soon as operations can.",
		"none":          "There is no standby: prepare to cut back the gas, and stop this pump as soon as operations can.",
		"unknown":       "Start the standby pump, if one is ready, then stop this one, by site procedure; if none is, prepare to cut back the gas and stop it as soon as operations can.",
	},
	// A group delivers too little, or nothing.
	"restore": {
		"available":     "Start the standby pump by site procedure and watch for flow within two minutes.",
		"running":       "More pumps run than are required: see at which of them flow is missing.",
		"not_available": "When it is certain that nobody is at {subject|a stopped pump}, and its own alarm allows it: start it again by site procedure, and watch for flow within two minutes. No standby is ready.",
		"none":          "When it is certain that nobody is at {subject|a stopped pump}, and its own alarm allows it: start it again by site procedure, and watch for flow within two minutes. There is no standby.",
		"unknown":       "Start the standby pump, if one is ready, by site procedure. If none is, and when it is certain that nobody is at {subject|a stopped pump} and its own alarm allows it: start that again by site procedure. Watch for flow within two minutes.",
	},
}

// step gives the sentence of a step as the standby stands.
func (f facts) step(name string) (string, bool) {
	by, ok := steps[name]
	if !ok {
		return "", false
	}
	sentence, known := by[strings.ReplaceAll(f.e.Standby, " ", "_")]
	if !known {
		sentence = by["unknown"]
	}
	return fill(sentence, f.token), true
}

// actions gives what to do in order, as the standby stands.
func (f facts) actions(t Text) []Action {
	list := make([]Action, len(t.Actions))
	for i, a := range t.Actions {
		list[i] = Action{fill(a.Text, f.token), a.Hands}
	}
	return inOrder(list)
}
