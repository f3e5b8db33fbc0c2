package media

import "strings"

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// ShellWord writes a word so that a shell takes it as one, as it is (POSIX,
// Shell Command Language, 2.2.2 Single-Quotes): for commands that are to be
// copied.
func ShellWord(word string) string {
	if word != "" && strings.Trim(word, plainInShells) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
