package media

import (
	"regexp"
	"runtime"
	"strings"
	"unicode"
	"unicode/utf8"
)

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// ShellWord writes a word so that the shells of this system take it as one,
// unchanged: for commands that people copy.
func ShellWord(word string) string { return shellWord(runtime.GOOS, word) }

// unshownWord replaces a word of a command that can't be shown, or that no
// quoting keeps as it is.
const unshownWord = "NAME"

func shellWord(system, word string) string {
	switch {
	case !utf8.ValidString(word) || strings.ContainsFunc(word, func(r rune) bool { return !unicode.IsPrint(r) }):
		return unshownWord
	case system == "windows":
		return windowsWord(word)
	}
	return posixWord(word)
}

// posixWord quotes for POSIX shells (Shell Command Language, 2.2.2
// Single-Quotes), and for zsh, to which a word that begins with = is a command.
func posixWord(word string) string {
	if isPlain(word, plainInShells) && word[0] != '=' {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

// plainInWindows leaves out what PowerShell takes for a list, a variable or an
// alias of one (about_Parsing, about_Splatting) and cmd for a variable.
var plainInWindows = strings.NewReplacer("%", "", "@", "", ",", "").Replace(plainInShells) + `\`

// replacedInQuotes is what cmd or PowerShell replaces between double quotes, or
// ends the text at: %NAME%; $name, ${, $(, the backtick and typographic quotes
// (about_Quoting_Rules). No other quoting works in both.
var replacedInQuotes = regexp.MustCompile("%[^%]+%|\\$[\\pL\\pN_{($?^:]|[`\"“”„]")

// windowsWord quotes with double quotes, which cmd and PowerShell both take. A
// backslash before the last one would keep it from ending the word
// (CommandLineToArgvW), unless it is doubled.
func windowsWord(word string) string {
	switch {
	case isPlain(word, plainInWindows):
		return word
	case replacedInQuotes.MatchString(word):
		return unshownWord
	}
	return `"` + word + strings.Repeat(`\`, len(word)-len(strings.TrimRight(word, `\`))) + `"`
}

func isPlain(word, letters string) bool { return word != "" && strings.Trim(word, letters) == "" }
