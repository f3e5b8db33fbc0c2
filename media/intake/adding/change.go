package adding

import (
	"errors"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/media/intake"
)

// change writes a download to the catalogue's file of its model.
func (s *Said) change(file *edit.File, found intake.Found, in Shop) error {
	today := in.Today.Format(time.DateOnly)
	past := edit.Past{Until: today, Why: s.Why}
	if past.Why == "" {
		past.Why = found.Why
	}
	if found.NewKey != "" {
		if err := edit.ReplaceKey(file, found.Model, found.NewKey, today, s.ReplaceKey); err != nil {
			return err
		}
	}
	if s.Opens && !found.Model.OpensArchives && found.Known == nil {
		if err := file.Set(edit.Way{"opens_archives"}, edit.Plain("true"), edit.ModelKeys); err != nil {
			return err
		}
	}
	if found.Known != nil {
		return s.vouch(file, found, today, past)
	}
	n, err := s.newFile(found, in)
	if err != nil {
		return err
	}
	n.Added = today
	if past.By = found.SHA256; found.Instead != nil {
		return edit.ReplaceFile(file, found.Model, found.Instead, n, past)
	}
	return edit.AddFile(file, found.Model, n)
}

// vouch writes who vouches for a file that the catalogue knows, and takes out the one
// in whose place it is there.
func (s *Said) vouch(file *edit.File, found intake.Found, today string, past edit.Past) error {
	trust, day := found.Trust, ""
	if found.Known.Trust == trust {
		trust = ""
	}
	if found.Known.Added.IsZero() {
		day = today
	}
	if err := edit.Vouch(file, found.Model, found.Known, trust, found.Got(), day); err != nil || found.Instead == nil {
		return err
	}
	return edit.RemoveFile(file, found.Model, found.Instead, past)
}

// newFile is the catalogue's new entry for a file that it doesn't know.
func (s *Said) newFile(found intake.Found, in Shop) (edit.NewFile, error) {
	n := edit.NewFile{
		Version: found.Version, Variant: found.Variant, Released: s.Released,
		Name: found.Name, Size: found.Size, SHA256: found.SHA256, Trust: found.Trust, From: found.From,
		Over: s.Over, PassedOnBy: s.PassedOnBy, Minutes: s.Minutes, WayBack: s.WayBack, BackTo: s.BackTo,
		BackSettings: s.BackSettings, Settings: s.Settings, After: s.After, Notes: s.Notes, Touch: s.Touch,
	}
	if found.Unpack {
		n.Unpack = manifest.UnpackZip
	}
	n.Members = found.Members
	for _, text := range s.Needs {
		need, err := parseNeed(text)
		if err != nil {
			return n, badSaid("%s %q: %w", in.Words.For(SayNeeds), text, err)
		}
		n.Needs = append(n.Needs, need)
	}
	return n, nil
}

// parseNeed reads a demand on another model: its id, a space, and bounds.
func parseNeed(text string) (edit.NewNeed, error) {
	model, bounds, ok := strings.Cut(strings.TrimSpace(text), " ")
	bounds = strings.TrimSpace(bounds)
	if !ok || manifest.Problem("Need.model", model) != nil || manifest.Problem("Need.version", bounds) != nil {
		return edit.NewNeed{}, errors.New(`expected a model and bounds, such as "fennick-sweep-2 >= 1.8"`)
	}
	return edit.NewNeed{Model: model, Version: bounds}, nil
}
