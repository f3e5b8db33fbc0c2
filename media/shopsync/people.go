package shopsync

import (
	"bytes"
	"cmp"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/manifest/durable"
)

// People is what a sync of whom to call did, by the vessels' ids.
type People struct {
	Received       []string         `json:"received"`
	Sent           []string         `json:"sent"`
	ForgottenHere  []string         `json:"forgotten_here"`
	ForgottenThere []string         `json:"forgotten_there"`
	Conflicts      []PeopleConflict `json:"conflicts"` // changed on both sides: both stay as they are
}

// PeopleConflict is whom to call about a vessel on either side; "" where nobody is.
type PeopleConflict struct {
	Vessel string `json:"vessel"`
	Ours   string `json:"ours"`
	Theirs string `json:"theirs"`
}

// peopleState is what both had last: digests with a key of the shop's own, since names
// and numbers that were forgotten must be.
type peopleState struct {
	Format    int               `json:"format"`
	Key       string            `json:"key"`
	Both      map[string]string `json:"both"`      // by vessel
	Conflicts map[string]sides  `json:"conflicts"` // by vessel
}

type sides struct{ Ours, Theirs string } // digests; "" for nobody

func (s *peopleState) digest(c contacts.Contact, there bool) string {
	if !there {
		return ""
	}
	mac := hmac.New(sha256.New, []byte(s.Key))
	fmt.Fprintf(mac, "%q %q %q", c.Name, c.Phone, c.Email)
	return hex.EncodeToString(mac.Sum(nil))
}

func peopleAt(dir, id string) string { return filepath.Join(dir, ownFolder, id+".people.json") }

func loadPeople(dir, id string) (*peopleState, error) {
	s := &peopleState{Format: 1}
	f, err := openFolder(dir, packagesFolder)
	if err != nil {
		return nil, err
	}
	defer f.close() // opened for reading only
	in, err := f.root.Open(ownFolder + "/" + id + ".people.json")
	if err == nil {
		defer in.Close() // opened for reading only
		var text []byte
		text, err = io.ReadAll(io.LimitReader(in, maxState))
		if err == nil && (json.Unmarshal(text, s) != nil || s.Format != 1 || s.Key == "") {
			err = fmt.Errorf("%s isn't what cardwright wrote there: remove it; then whoever differs is a conflict", peopleAt(dir, id))
		}
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if s.Key == "" {
		var random [16]byte
		_, _ = rand.Read(random[:]) // never fails, by its documentation
		s.Key = hex.EncodeToString(random[:])
	}
	if s.Both == nil {
		s.Both = map[string]string{}
	}
	if s.Conflicts == nil {
		s.Conflicts = map[string]sides{}
	}
	return s, nil
}

func (s *peopleState) save(dir, id string) error {
	text, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return durable.Write(peopleAt(dir, id), 0o600, bytes.NewReader(append(text, '\n')))
}

// RunPeople syncs whom to call, vessel by vessel, with a folder that Run has synced the
// files with: by what both had last, and forgetting goes to the other side, too.
func RunPeople(shop *manifest.Shop, there string) (p People, err error) {
	p = People{[]string{}, []string{}, []string{}, []string{}, []PeopleConflict{}}
	other, err := openFolder(there, packagesFolder)
	if err != nil {
		return p, err
	}
	id, err := other.id()
	if err == nil && id == "" {
		err = ErrNew
	}
	if info, err2 := other.root.Lstat(contacts.File); err == nil && err2 == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s in %s is a link or a folder: it is never followed", contacts.File, there)
	}
	if err = errors.Join(err, other.close()); err != nil {
		return p, err
	}
	ours, errOurs := contacts.Load(shop.Dir)
	theirs, errTheirs := contacts.Load(there)
	state, errState := loadPeople(shop.Dir, id)
	if err := errors.Join(errOurs, errTheirs, errState); err != nil {
		return p, err
	}
	vessels := map[string]bool{}
	for _, c := range slices.Concat(ours, theirs) {
		vessels[c.Vessel] = true
	}
	for vessel := range state.Both {
		vessels[vessel] = true
	}
	clear(state.Conflicts)
	for _, vessel := range slices.Sorted(maps.Keys(vessels)) {
		err = errors.Join(err, p.sync(state, shop.Dir, there, vessel, ours, theirs))
	}
	return p, errors.Join(err, state.save(shop.Dir, id))
}

func (p *People) sync(state *peopleState, here, there, vessel string, ours, theirs []contacts.Contact) error {
	a, isHere := contacts.Of(ours, vessel)
	b, isThere := contacts.Of(theirs, vessel)
	was, da, db := state.Both[vessel], state.digest(a, isHere), state.digest(b, isThere)
	a.Vessel, b.Vessel = vessel, vessel
	var err error
	switch {
	case da == db:
	case db == was:
		_, err = contacts.Keep(there, a)
		p.note(&p.Sent, &p.ForgottenThere, vessel, isHere)
	case da == was:
		_, err = contacts.Keep(here, b)
		p.note(&p.Received, &p.ForgottenHere, vessel, isThere)
		da = db
	default:
		p.Conflicts = append(p.Conflicts, PeopleConflict{vessel, a.String(), b.String()})
		state.Conflicts[vessel] = sides{da, db}
		return nil
	}
	if err != nil {
		return err
	}
	if delete(state.Both, vessel); da != "" {
		state.Both[vessel] = da
	}
	return nil
}

func (p *People) note(kept, forgotten *[]string, vessel string, there bool) {
	if !there {
		kept = forgotten
	}
	*kept = append(*kept, vessel)
}

// SettlePeople ends the conflicts about whom to call: the next sync takes ours or
// theirs. It tells how many there were.
func SettlePeople(shop *manifest.Shop, theirs bool) (n int, err error) {
	files, err := filepath.Glob(peopleAt(shop.Dir, "*"))
	if err != nil {
		return 0, err
	}
	for _, file := range files {
		id := filepath.Base(file)[:len(filepath.Base(file))-len(".people.json")]
		state, err := loadPeople(shop.Dir, id)
		if err != nil {
			return n, err
		}
		n += len(state.Conflicts)
		for vessel, s := range state.Conflicts {
			both := s.Theirs
			if theirs {
				both = s.Ours
			}
			if delete(state.Both, vessel); both != "" {
				state.Both[vessel] = both
			}
		}
		clear(state.Conflicts)
		if err := state.save(shop.Dir, id); err != nil {
			return n, err
		}
	}
	if n == 0 {
		return 0, fmt.Errorf("%w: %s", ErrNoConflict, contacts.File)
	}
	return n, nil
}

// Told says it in one line.
func (c PeopleConflict) Told() string {
	return c.Vessel + ": " + cmp.Or(c.Ours, "nobody") + " here, " + cmp.Or(c.Theirs, "nobody") + " there"
}
