package media

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// UnshownWord stands in a command for a word that can't be shown.
const UnshownWord = "NAME"

// ShellWord writes a word so that a shell takes it as one, as it is (POSIX,
// Shell Command Language, 2.2.2 Single-Quotes): for commands that are to be
// copied. A word that can't be shown as it is (a line's end or a tab in it, a
// character that hides or turns others, bytes that aren't UTF-8) can't be copied
// either: UnshownWord stands for it.
func ShellWord(word string) string {
	switch {
	case word != "" && strings.Trim(word, plainInShells) == "":
		return word
	case !utf8.ValidString(word) || strings.ContainsFunc(word, func(r rune) bool { return !unicode.IsPrint(r) }):
		return UnshownWord
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
