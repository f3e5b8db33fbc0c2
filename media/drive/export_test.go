package drive

// WithoutDirect makes a medium read and write through the system's cache, as
// on a system or file system that refuses anything else.
func WithoutDirect(m interface{ withoutDirect() }) { m.withoutDirect() }

func (s *store) withoutDirect() {
	if s.direct != nil {
		_ = s.direct.Close()
	}
	s.direct = nil
	s.proof.Store(unproven)
}
