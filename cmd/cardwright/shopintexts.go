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
func (t *terminal) keepShop(text string) string {
	return t.withShop(text, func(flag string) string { return flag })
}

func (t *terminal) withShop(text string, written func(string) string) string {
	if t.shopDir == "" || t.commands == nil || !strings.Contains(text, "cardwright") {
		return text
	}
	flag := written(" --shop " + media.ShellWord(t.shopDir))
	var out strings.Builder
	from := 0
	for _, at := range t.commands.FindAllStringSubmatchIndex(text, -1) {
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
	t  *terminal
	to io.Writer
}

func (h hinting) Write(p []byte) (int, error) {
	if _, err := io.WriteString(h.to, h.t.keepShop(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// text is where an answer in words goes; pages and tables go to out as they are.
func (t *terminal) text() io.Writer { return hinting{t, t.out} }

// aside is the writer for notes on the answer that name commands.
func (t *terminal) aside() io.Writer { return hinting{t, t.errs} }

// keepShopInJSON is keepShop for texts in an answer.
func (t *terminal) keepShopInJSON(answer []byte) []byte {
	return []byte(t.withShop(string(answer), func(flag string) string {
		var quoted bytes.Buffer
		enc := json.NewEncoder(&quoted)
		enc.SetEscapeHTML(false)
		_ = enc.Encode(flag) // a string and a buffer never fail
		return strings.TrimSuffix(strings.TrimPrefix(quoted.String(), `"`), "\"\n")
	}))
}
