package ledgertest

import "os/exec"

func (s *Server) giveAway(string) error { return nil }

func (s *Server) as(cmd *exec.Cmd) error {
	cmd.Dir = s.dir
	return nil
}
