package main

import (
	"fmt"

	"cardwright/media/drive"
	"cardwright/verify"
)

// guardDrive opens a drive for writing, held exclusively, if it may be erased.
func (p *preparing) guardDrive(t *cardTarget) error {
	d, err := drive.OpenDrive(t.path, true)
	if err != nil {
		return err
	}
	t.drive, t.medium = d, d
	g := verify.LookAt(d, d.Bytes())
	if len(g.Foreign) > 0 && !p.options.loseFiles {
		return fmt.Errorf("%s holds %s that cardwright did not write", t.path, counted(len(g.Foreign), "file"))
	}
	return nil
}
