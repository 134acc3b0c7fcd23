package alarm

import "strings"

// fill puts facts into a sentence of the catalogue. {token} is replaced,
// {token|words} falls back on the words, and a part in [brackets] is left out
// when a token in it has neither. A missing fact outside brackets reads "not
// known".
func fill(template string, fact func(token string) (string, bool)) string {
	var b strings.Builder
	for template != "" {
		plain, rest, optional := strings.Cut(template, "[")
		text, _ := replace(plain, fact)
		b.WriteString(text)
		if !optional {
			break
		}
		inner, after, _ := strings.Cut(rest, "]")
		if text, complete := replace(inner, fact); complete {
			b.WriteString(text)
		}
		template = after
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// shorterTemplate takes the last optional part out of a template; it gives the
// template back when there is none.
func shorterTemplate(template string) string {
	open, end := strings.LastIndexByte(template, '['), strings.LastIndexByte(template, ']')
	if open < 0 || end < open {
		return template
	}
	return template[:open] + template[end+1:]
}

// replace fills the tokens of a part without brackets.
func replace(part string, fact func(string) (string, bool)) (text string, complete bool) {
	var b strings.Builder
	complete = true
	for {
		before, rest, found := strings.Cut(part, "{")
		b.WriteString(before)
		if !found {
			return b.String(), complete
		}
		name, after, _ := strings.Cut(rest, "}")
		name, fallback, has := strings.Cut(name, "|")
		words, known := fact(name)
		switch {
		case known:
			b.WriteString(words)
		case has:
			b.WriteString(fallback)
		default:
			b.WriteString("not known")
			complete = false
		}
		part = after
	}
}

// spaced makes words of a name such as glycol_flow.
func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }

// sentence gives text with a capital in front and a full stop behind.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	if text[0] >= 'a' && text[0] <= 'z' {
		text = strings.ToUpper(text[:1]) + text[1:]
	}
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
