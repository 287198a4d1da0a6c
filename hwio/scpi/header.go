package scpi

import "strings"

// header is a command's header as the manual prints it: capitals are the short form, brackets mean optional, as in
// "SYSTem:ERRor[:NEXT]?". Only the short form and the whole long form are words; nothing between counts.
type header struct {
	words []headerWord
	query bool
}

type headerWord struct {
	short, long string // both in capitals
	optional    bool
}

// newHeader reads the printed form.
func newHeader(pattern string) header {
	h := header{query: strings.HasSuffix(pattern, "?")}
	pattern = strings.TrimSuffix(pattern, "?")
	pattern = strings.ReplaceAll(pattern, "[:", ":[")
	pattern = strings.ReplaceAll(pattern, ":]", "]:")
	for _, word := range strings.Split(pattern, ":") {
		inner := strings.Trim(word, "[]")
		h.words = append(h.words, headerWord{
			short:    strings.TrimFunc(inner, func(r rune) bool { return r >= 'a' && r <= 'z' }),
			long:     strings.ToUpper(inner),
			optional: inner != word,
		})
	}
	return h
}

// matches says whether a full header, as a list of words, names this command.
func (h header) matches(words []string, query bool) bool {
	return query == h.query && matchWords(h.words, words)
}

func matchWords(pattern []headerWord, words []string) bool {
	if len(pattern) == 0 {
		return len(words) == 0
	}
	if len(words) > 0 && pattern[0].names(words[0]) && matchWords(pattern[1:], words[1:]) {
		return true
	}
	return pattern[0].optional && matchWords(pattern[1:], words)
}

func (w headerWord) names(text string) bool {
	text = strings.ToUpper(text)
	return text == w.short || text == w.long
}
