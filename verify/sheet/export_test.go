package sheet

// Fonts are the fonts of the PDF form as they are in memory, by file.
func Fonts() map[string][]byte {
	return map[string][]byte{"DejaVuSans.ttf": sansFont, "DejaVuSans-Bold.ttf": boldFont, "DejaVuSansMono-Bold.ttf": monoFont}
}

// Composed is a font whose glyph 1 draws a letter, and whose glyphs from 1 on are
// put together of others; one of none is a triangle.
func Composed(letter rune, parts [][]uint16) []byte {
	glyf, places := []byte{}, []uint32{0}
	for _, of := range parts {
		places = append(places, uint32(len(glyf)))
		if len(of) == 0 {
			glyf = append(glyf, words16(1, 0, 0, 500, 500, 2, 0, 0x0101, 0x0100, 0, 500, 0, 0, 500, 0)...)
		}
		for i, part := range of {
			if i == 0 {
				glyf = append(glyf, words16(0xffff, 0, 0, 500, 500)...)
			}
			flags := uint16(partWords | 2)
			if i+1 < len(of) {
				flags |= partMore
			}
			glyf = append(glyf, words16(flags, part, 0, 0)...)
		}
		glyf = append(glyf, make([]byte, (4-len(glyf)%4)%4)...)
	}
	var loca, hmtx []byte
	for _, at := range append(places, uint32(len(glyf))) {
		loca = append(loca, words16(uint16(at>>16), uint16(at))...)
	}
	n := uint16(len(parts) + 1)
	for range n {
		hmtx = append(hmtx, words16(1000, 0)...)
	}
	characters := append(words16(0, 1, 3, 1, 0, 12), words16(4, 32, 0, 4, 0, 0, 0, uint16(letter), 0xffff, 0, uint16(letter), 0xffff, 1-uint16(letter), 1, 0, 0)...)
	return assembled(map[string][]byte{
		"glyf": glyf, "loca": loca, "hmtx": hmtx, characterTable: characters, "name": words16(0, 0, 6),
		"head": words16(1, 0, 1, 0, 0, 0, 0x5f0f, 0x3cf5, 0, 1000, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1000, 800, 0, 8, 2, 1, 0),
		"hhea": words16(1, 0, 800, 0, 0, 1000, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, n),
		"maxp": words16(1, 0, n, 9, 9, 9, 9, 1, 0, 0, 0, 0, 0, 0, 9, 9),
		"post": words16(3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0),
	})
}

// Renderer is what each form is.
type Renderer = renderer
