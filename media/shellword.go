package media

import (
	"runtime"
	"strings"
	"unicode"
	"unicode/utf8"
)

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// ShellWord writes a word so that the shells of this system take it as one, as
// it is: for commands that are to be copied.
func ShellWord(word string) string { return shellWord(runtime.GOOS, word) }

// UnshownWord stands in a command for a word that can't be shown.
const UnshownWord = "NAME"

// shellWord quotes for POSIX shells (Shell Command Language, 2.2.2
// Single-Quotes); on Windows with double quotes, which cmd and PowerShell both
// take, and which no name of a file there can hold.
func shellWord(system, word string) string {
	plain := plainInShells
	if system == "windows" {
		plain = strings.Replace(plain, "%", "", 1) + `\`
	}
	switch {
	case word != "" && strings.Trim(word, plain) == "":
		return word
	case !utf8.ValidString(word) || strings.ContainsFunc(word, func(r rune) bool { return !unicode.IsPrint(r) }):
		return UnshownWord
	case system == "windows":
		return `"` + strings.ReplaceAll(word, `"`, `""`) + `"`
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
