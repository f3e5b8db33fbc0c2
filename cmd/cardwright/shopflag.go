package main

import (
	"bytes"
	"encoding/json"
	"io"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/media"
)

// Commands that texts name are for copying. Whoever named the shop folder would
// run them on another shop, or on none: so every text that names a command goes
// through keepShop, wherever it was made.

// withoutShop are commands that need no shop.
var withoutShop = []string{"cardwright readers", "cardwright key new", "cardwright init"}

// namedCommands finds the commands of the tree in a text, which may have broken
// its lines between their words.
func namedCommands(root *cobra.Command) *regexp.Regexp {
	var paths []string
	var walk func(*cobra.Command)
	walk = func(cmd *cobra.Command) {
		if cmd.HasParent() && !cmd.HasSubCommands() && !slices.Contains(withoutShop, cmd.CommandPath()) {
			paths = append(paths, strings.Join(strings.Fields(cmd.CommandPath()), `\s+`))
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(root)
	slices.SortFunc(paths, func(a, b string) int { return len(b) - len(a) }) // the longer of two that begin alike
	return regexp.MustCompile(`\b(` + strings.Join(paths, "|") + `)(?:[^-\w]|$)`)
}

// keepShop puts the shop folder that was named into the commands that a text
// names. A command that has it already stays as it is.
func (s *session) keepShop(text string) string {
	return s.withShop(text, func(flag string) string { return flag })
}

func (s *session) withShop(text string, written func(string) string) string {
	if s.shopDir == "" || s.commands == nil || !strings.Contains(text, "cardwright") {
		return text
	}
	flag := written(" --shop " + media.ShellWord(s.shopDir))
	var out strings.Builder
	from := 0
	for _, at := range s.commands.FindAllStringSubmatchIndex(text, -1) {
		end := at[3]
		rest := text[end:]
		if stop := strings.IndexAny(rest, "\n;\""); stop >= 0 {
			rest = rest[:stop]
		}
		out.WriteString(text[from:end])
		if !strings.Contains(rest, " --shop ") {
			out.WriteString(flag)
		}
		from = end
	}
	out.WriteString(text[from:])
	return out.String()
}

// hinting writes text on, with the shop in its commands. Each write is of whole
// commands.
type hinting struct {
	s  *session
	to io.Writer
}

func (h hinting) Write(p []byte) (int, error) {
	if _, err := io.WriteString(h.to, h.s.keepShop(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// text is where an answer in words goes; pages and tables go to out as they are.
func (s *session) text() io.Writer { return hinting{s, s.out} }

// keepShopInJSON is keepShop for texts in an answer.
func (s *session) keepShopInJSON(answer []byte) []byte {
	return []byte(s.withShop(string(answer), func(flag string) string {
		var quoted bytes.Buffer
		enc := json.NewEncoder(&quoted)
		enc.SetEscapeHTML(false)
		_ = enc.Encode(flag) // a string and a buffer never fail
		return strings.TrimSuffix(strings.TrimPrefix(quoted.String(), `"`), "\"\n")
	}))
}
