package drive

// WithoutDirect makes an image read through the system's cache, as on a file
// system that refuses anything else.
func WithoutDirect(i *Image) {
	if i.direct != nil {
		_ = i.direct.Close()
	}
	i.direct = nil
	i.proof.Store(unproven)
}
