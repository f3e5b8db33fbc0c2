//go:build unix

package ledgertest

import (
	"errors"
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"
)

// credential is an unprivileged user to run as: PostgreSQL refuses root.
func credential() (*syscall.Credential, error) {
	if os.Getuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil {
			uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
			gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
			return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, errors.Join(err1, err2)
		}
	}
	return nil, errors.New("no unprivileged user to run PostgreSQL as")
}

func (s *Server) giveAway(dir string) error {
	c, err := credential()
	if err != nil || c == nil {
		return err
	}
	return os.Chown(dir, int(c.Uid), int(c.Gid))
}

func (s *Server) as(cmd *exec.Cmd) error {
	c, err := credential()
	cmd.Dir = s.dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c}
	return err
}
