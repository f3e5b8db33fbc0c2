// Package pattern holds regular expressions that are compiled when they are
// first used: a command that needs none of them doesn't wait for them. A pattern
// that can't be compiled panics when it is used; a test compiles them all.
package pattern

import (
	"regexp"
	"sync"
)

// Pattern is a regular expression in Go's form (package regexp).
type Pattern struct {
	text string
	once func() *regexp.Regexp
}

// Of is the pattern with this text. A text that is no regular expression panics
// at its first use; CompileAll finds it in a test.
func Of(text string) *Pattern {
	p := &Pattern{text: text, once: sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })}
	all = append(all, p)
	return p
}

var all []*Pattern // filled while packages are set up, by one goroutine

// CompileAll compiles every pattern of the program and returns how many there
// are, or the first mistake.
func CompileAll() (int, error) {
	for i, p := range all {
		if _, err := regexp.Compile(p.text); err != nil {
			return i, err
		}
	}
	return len(all), nil
}

// Regexp is the compiled pattern.
func (p *Pattern) Regexp() *regexp.Regexp { return p.once() }

// These do what the methods of the same names of regexp.Regexp do.

func (p *Pattern) MatchString(s string) bool            { return p.once().MatchString(s) }
func (p *Pattern) FindString(s string) string           { return p.once().FindString(s) }
func (p *Pattern) FindStringIndex(s string) []int       { return p.once().FindStringIndex(s) }
func (p *Pattern) FindStringSubmatch(s string) []string { return p.once().FindStringSubmatch(s) }
func (p *Pattern) FindAllStringIndex(s string, n int) [][]int {
	return p.once().FindAllStringIndex(s, n)
}

func (p *Pattern) FindAllStringSubmatchIndex(s string, n int) [][]int {
	return p.once().FindAllStringSubmatchIndex(s, n)
}
func (p *Pattern) ReplaceAllString(s, by string) string { return p.once().ReplaceAllString(s, by) }
func (p *Pattern) Split(s string, n int) []string       { return p.once().Split(s, n) }
