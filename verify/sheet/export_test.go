package sheet

// Fonts are the fonts of the PDF form as they are in memory, by file.
func Fonts() map[string][]byte {
	return map[string][]byte{"DejaVuSans.ttf": sansFont, "DejaVuSans-Bold.ttf": boldFont, "DejaVuSansMono-Bold.ttf": monoFont}
}
