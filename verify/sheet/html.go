package sheet

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"strings"
)

// The parts of the HTML form.
var (
	//go:embed page/sheet.html
	pageHTML string
	//go:embed page/sheet.css
	pageStyle string
	//go:embed page/sheet.js
	pageScript string
)

// HTML writes the sheet as one page that needs nothing else: it works on a
// phone without a network, keeps what is filled in on that phone, saves it as
// the file that a visit is recorded from (see Form), and prints on the given
// paper. No text of the sheet can become a script: the page's policy allows
// the page's own one, by its digest, and nothing else. The same sheet
// gives the same bytes. An unknown paper is an error.
func HTML(s Sheet, paper Paper) ([]byte, error) {
	w, err := speak(s.Language)
	if err != nil {
		return nil, fmt.Errorf("writing HTML: %w", err)
	}
	if _, _, err := paper.size(); err != nil {
		return nil, fmt.Errorf("writing HTML: %w", err)
	}
	style := pageStyle + printed(s, w, paper)
	page := template.New("sheet")
	page, err = page.Funcs(template.FuncMap{
		"say":     w.say,
		"plain":   plainSpaces,
		"show":    show,
		"long":    long,
		"symbol":  symbol,
		"blocks":  func(s Section) (template.HTML, error) { return htmlOf(page, s) },
		"percent": func(r Room) string { return fmt.Sprintf("%.1f", 100*share(r)) },
		"below":   func(n Network, i int) []Node { return n.below(i) },
		"clocked": func(all Blanks) bool { return all[len(all)-1].ID == untilID },
		"alike":   func(c Checks) [][]Check { return alike(c) },
		"code":    codePath,
		"drawing": drawing,
		"works":   func() bool { return len(s.Form.Steps) > 0 },
		"keeps":   func() bool { return len(s.Form.Steps) > 0 || s.Answers != nil },
		"carried": func() any { return carried(s) },
		"policy":  func() string { return policy(style, pageScript, len(blocksOf[Picture](s)) > 0) },
		"style":   func() template.CSS { return template.CSS(style) },
		"script":  func() template.JS { return template.JS(pageScript) },
	}).Parse(pageHTML)
	if err != nil {
		return nil, fmt.Errorf("reading page: %w", err)
	}
	var out bytes.Buffer
	if err := page.Execute(&out, s); err != nil {
		return nil, fmt.Errorf("writing HTML: %w", err)
	}
	return out.Bytes(), nil
}

// carried is what the page brings back once it is filled in.
func carried(s Sheet) any {
	if s.Answers != nil {
		return s.Answers
	}
	return s.Form
}

// html is the renderer of a page: each kind of block has a template of its name.
type html struct {
	page  *template.Template
	title string // of the section
	b     bytes.Buffer
	err   error
}

// htmlOf writes a section's blocks.
func htmlOf(page *template.Template, s Section) (template.HTML, error) {
	h := &html{page: page, title: s.Title}
	for _, b := range s.Blocks {
		b.on(h)
	}
	return template.HTML(h.b.String()), h.err
}

func (h *html) write(kind string, b any) {
	if h.err == nil {
		h.err = h.page.ExecuteTemplate(&h.b, kind, b)
	}
}

func (h *html) heading(b Heading)     { h.write("heading", string(b)) }
func (h *html) paragraph(b Paragraph) { h.write("paragraph", string(b)) }
func (h *html) caution(b Caution)     { h.write("caution", string(b)) }
func (h *html) facts(b Facts)         { h.write("facts", b) }
func (h *html) tick(b Tick)           { h.write("tick", b) }
func (h *html) boxes(b Boxes)         { h.write("boxes", b) }
func (h *html) blanks(b Blanks)       { h.write("blanks", b) }
func (h *html) step(b Step)           { h.write("step", b) }
func (h *html) checks(b Checks)       { h.write("checks", b) }
func (h *html) signs(b Signs)         { h.write("signs", b) }
func (h *html) picture(b Picture)     { h.write("picture", b) }
func (h *html) network(b Network)     { h.write("network", b) }
func (h *html) cards(b Cards)         { h.write("cards", b) }

func (h *html) table(b Table) {
	h.write("table", struct {
		Table
		Title string
	}{b, h.title})
}

// policy lets the page use its own style and script and nothing else (Content
// Security Policy Level 3).
func policy(style, script string, pictures bool) string {
	digest := func(s string) string {
		sum := sha256.Sum256([]byte(s))
		return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	images := ""
	if pictures {
		images = "; img-src data:"
	}
	return "default-src 'none'; style-src " + digest(style) + "; script-src " + digest(script) + images +
		"; base-uri 'none'; form-action 'none'"
}

// drawing is a picture as a part of the page.
func drawing(png []byte) template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png))
}

// printed is the style of paper: its size, and what is in the margins of
// each page (CSS Paged Media Level 3).
func printed(s Sheet, w words, paper Paper) string {
	if paper == "" {
		paper = A4
	}
	page := w.say("page", "n", "\x00n\x00", "m", "\x00m\x00")
	var number []string
	for i, part := range strings.Split(page, "\x00") {
		switch {
		case i%2 == 0:
			number = append(number, quoted(part))
		case part == "n":
			number = append(number, "counter(page)")
		default:
			number = append(number, "counter(pages)")
		}
	}
	const font = "font: 9pt sans-serif; vertical-align: top; padding-top: 2mm; "
	const top = "font: 700 11pt sans-serif; vertical-align: bottom; padding-bottom: 2mm; "
	return "@page { size: " + string(paper) + "; margin: 16mm 12mm 18mm 18mm;\n" +
		"@top-right { " + top + "content: " + quoted(symbol(s.Stamp.Kind)+" "+plainSpaces(s.Stamp.Line())) + "; }\n" +
		"@top-left { " + top + "content: " + quoted(plainSpaces(strings.Join(notEmpty(s.Vessel, s.Title), " · "))) + "; }\n" +
		"@bottom-left { " + font + "width: 140mm; content: " + quoted(plainSpaces(s.Foot)) + "; }\n" +
		"@bottom-right { " + font + "content: " + strings.Join(number, " ") + "; } }\n"
}

// show writes text so that a browser breaks no version or name while a line can
// hold it.
func show(s string) template.HTML {
	words := strings.Split(s, " ")
	for i, word := range words {
		words[i] = template.HTMLEscapeString(plainSpaces(word))
		switch {
		case long(word):
			words[i] = `<span class="longer">` + words[i] + `</span>`
		case strings.ContainsAny(word, "-/"):
			words[i] = `<span class="whole">` + words[i] + `</span>`
		}
	}
	return template.HTML(strings.Join(words, " "))
}

// long reports whether text has a word too long for a narrow column.
func long(s string) bool {
	const most = 24
	for word := range strings.SplitSeq(s, " ") {
		if len(word) > most {
			return true
		}
	}
	return false
}

// quoted writes s as a string of CSS, with everything but letters and digits
// by number: a space after a number would be taken as its end.
func quoted(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		if r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, `\%06X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
