package sheet

// pdfSection is the renderer of one section on paper. Its title, and headings and
// cautions in it, stay with what follows them.
type pdfSection struct {
	*pdf
	title string
	whole bool    // all of it stands on one page, where a page can hold it
	next  Block   // what follows the block that is written; nil: nothing
	kept  []piece // of what stays with what follows
}

// section writes a part of the sheet.
func (p *pdf) section(title string, s Section) {
	r := &pdfSection{pdf: p, title: s.Title, whole: s.Whole, kept: p.begin(s.ID, title)}
	for i, b := range s.Blocks {
		r.next = nil
		if i+1 < len(s.Blocks) {
			r.next = s.Blocks[i+1]
		}
		b.on(r)
	}
	p.put(r.kept)
}

// keep holds pieces back until what follows them is written.
func (r *pdfSection) keep(pieces []piece) { r.kept = append(r.kept, pieces...) }

// put writes pieces with what was kept for them.
func (r *pdfSection) write(pieces []piece) {
	r.keep(pieces)
	if !r.whole {
		r.pdf.put(r.kept)
		r.kept = nil
	}
}

// under writes a table below what was kept for it.
func (r *pdfSection) under(g grid) {
	r.pdf.under(r.title, r.kept, g)
	r.kept = nil
}

func (r *pdfSection) heading(b Heading) {
	r.keep(append([]piece{gap(1)}, append(r.row(cell{left, r.room(), strong, string(b)}), gap(0.6))...))
}

func (r *pdfSection) caution(b Caution) { r.keep(r.blockPieces.caution(left, string(b))) }

func (r *pdfSection) paragraph(b Paragraph) {
	pieces := append(r.row(cell{left, r.room(), body, string(b)}), gap(0.7))
	switch r.next.(type) {
	case Caution, Heading, Table, Boxes, Step, Checks: // which it is said of
		r.keep(pieces)
	default:
		r.write(pieces)
	}
}

func (r *pdfSection) facts(b Facts) {
	pieces := append(r.flow(left, r.room(), b), gap(0.4))
	if _, ok := r.next.(Cards); ok { // whose plan they are of
		r.keep(pieces)
		return
	}
	r.write(pieces)
}

func (r *pdfSection) cards(b Cards) {
	for _, row := range r.blockPieces.cards(b) {
		r.write(row)
	}
}

func (r *pdfSection) table(b Table) {
	r.under(r.blockPieces.table(b))
	r.write([]piece{gap(1)})
}

func (r *pdfSection) tick(b Tick)       { r.write(r.blockPieces.tick(left, b)) }
func (r *pdfSection) boxes(b Boxes)     { r.write(r.blockPieces.boxes(b)) }
func (r *pdfSection) blanks(b Blanks)   { r.write(r.blockPieces.blanks(left, b)) }
func (r *pdfSection) step(b Step)       { r.write(r.blockPieces.step(b)) }
func (r *pdfSection) checks(b Checks)   { r.under(r.blockPieces.checks(b)) }
func (r *pdfSection) signs(b Signs)     { r.write(r.blockPieces.signs(b)) }
func (r *pdfSection) picture(b Picture) { r.write(r.blockPieces.picture(b)) }
func (r *pdfSection) network(b Network) { r.write(r.blockPieces.network(b)) }
