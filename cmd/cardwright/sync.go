package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/media"
	"cardwright/media/shopsync"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// syncOptions are the flags of sync.
type syncOptions struct {
	checkOptions
	fresh, emptied bool
	people         bool
	settle, take   string
}

func newSyncCommand(s *session) *cobra.Command {
	var o syncOptions
	cmd := &cobra.Command{
		Use:   "sync [WHERE]",
		Short: "Bring two laptops' shop folders together, on a stick or a share",
		Long: `sync brings this shop folder and another one together: the other laptop's, or one on a
stick or a network share where several laptops meet. The ledger, the catalogue, the
vessels and the package files get what is new on either side; a file that was removed
on one side is removed on the other. shop.yaml, with its trusts:, and keys are never
touched. Whom to call stays on its laptop, unless --contacts is given; then it is synced
boat by boat, and who was forgotten on one side is forgotten on the other.

A file that was changed on both sides is a conflict. It stays as it is on both, the
two are shown side by side, and nothing is planned from it until a person settles it.
To merge by hand, edit the file here and then take ours. Without WHERE, sync shows
what is in conflict.

What a sync replaces or removes is kept in .sync/before.`,
		Example: `  cardwright sync --new /media/stick/shop
  cardwright sync /media/stick/shop
  cardwright sync
  cardwright sync --settle catalogue/fennick-plot-9.yaml --take theirs`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage(fmt.Errorf("found %d arguments, expected one folder", len(args)))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := s.shop()
			if err != nil {
				return err
			}
			switch {
			case o.settle != "" || o.take != "":
				if len(args) > 0 || o.settle == "" || o.take != "ours" && o.take != "theirs" {
					return usage(errors.New("--settle FILE goes with --take ours or --take theirs, and without WHERE"))
				}
				return runSettle(interruptible(cmd), s, shop, o)
			case len(args) == 0:
				return showConflicts(s, shop)
			}
			return runSync(interruptible(cmd), s, shop, o, args[0])
		},
	}
	o.addFlags(cmd)
	cmd.Flags().BoolVar(&o.people, "contacts", false, "also sync whom to call, in contacts.yaml")
	cmd.Flags().BoolVar(&o.fresh, "new", false, "begin there: nothing was ever synced with that folder")
	cmd.Flags().BoolVar(&o.emptied, "emptied", false, "most files were removed there on purpose: remove them here, too")
	cmd.Flags().StringVar(&o.settle, "settle", "", "end a conflict about this `FILE`")
	cmd.Flags().StringVar(&o.take, "take", "", "which of the two stays: `ours|theirs`")
	return cmd
}

// syncedShops is the answer of sync.
type syncedShops struct {
	shopsync.Report
	Ledger *synced          `json:"ledger"` // null: none was synced
	People *shopsync.People `json:"contacts,omitempty"`
	Note   string           `json:"note,omitempty"`
}

func runSync(ctx context.Context, s *session, shop *manifest.Shop, o syncOptions, where string) error {
	against, err := o.against(s, shop)
	if err != nil {
		return err
	}
	r, err := shopsync.Run(ctx, shop, where, shopsync.Options{New: o.fresh, Emptied: o.emptied})
	switch {
	case errors.Is(err, shopsync.ErrNew):
		return fmt.Errorf("%w; to begin there: cardwright sync --new %s", err, media.ShellWord(where))
	case errors.Is(err, shopsync.ErrEmptied):
		return fmt.Errorf("%w; if they were removed on purpose: cardwright sync --emptied %s", err, media.ShellWord(where))
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w: a sync never makes it; check the name and that the stick is in, or make the folder first", err)
	case err != nil:
		return err
	}
	answer := syncedShops{Report: r}
	if answer.Ledger, answer.Note, err = s.syncLedgerIn(ctx, shop, against, where, o.fresh); err != nil {
		return fmt.Errorf("the files are synced, the ledgers aren't: %w", err)
	}
	if l := answer.Ledger; l != nil {
		if l.Todo, err = toDoAfterSync(ctx, s, l.from); err != nil {
			return fmt.Errorf("files and ledgers are synced, but what the shop's files need isn't known: %w", err)
		}
	}
	if o.people {
		people, err := shopsync.RunPeople(shop, where)
		if err != nil {
			return fmt.Errorf("files and ledgers are synced, whom to call isn't: %w", err)
		}
		answer.People = &people
	}
	s.answer(answer, func(w io.Writer) { writeSynced(w, shop, answer) })
	if answer.People != nil && len(answer.People.Conflicts) > 0 || len(r.Conflicts) > 0 || len(r.Refused) > 0 || answer.Ledger != nil && len(answer.Ledger.Refused) > 0 {
		return &answered{exitNo}
	}
	return nil
}

// syncLedgerIn merges the shop's ledger and the one in another folder; note says why
// it didn't.
func (s *session) syncLedgerIn(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, where string, fresh bool) (r *synced, note string, err error) {
	name, err := shopsync.Keeps(where, "ledger", "ledger.db")
	if err != nil {
		return nil, "", err
	}
	if store.IsPostgres(name) {
		return nil, "the other shop's ledger is on a server: sync with it by cardwright ledger sync and its address", nil
	}
	root, err := os.OpenRoot(where)
	if err != nil {
		return nil, "", err
	}
	defer root.Close() // opened for reading only
	info, err := root.Lstat(filepath.FromSlash(name))
	switch {
	case err == nil && !info.Mode().IsRegular():
		return nil, "", fmt.Errorf("%s in %s is not a file: links and folders there are never followed", visible.Visible(name), where)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return nil, "", err
	case err != nil:
		if _, errHere := os.Stat(ledgerAddress(shop)); errHere != nil && !store.IsPostgres(shop.Ledger) {
			return nil, "no ledger here or there yet", nil
		}
	}
	done, err := syncLedgers(ctx, &s.terminal, shop, against, filepath.Join(where, filepath.FromSlash(name)), fresh)
	return &done, "", err
}

func writeSynced(w io.Writer, shop *manifest.Shop, a syncedShops) {
	fmt.Fprintf(w, "Synced with %s: %s received, %d sent; %d removed here, %d there.\n", visible.Visible(a.There),
		counted(len(a.Received), "file"), len(a.Sent), len(a.RemovedHere), len(a.RemovedThere))
	for _, list := range []struct {
		what  string
		names []string
	}{{"received", a.Received}, {"sent", a.Sent}, {"removed here", a.RemovedHere}, {"removed there", a.RemovedThere}} {
		for _, name := range list.names {
			fmt.Fprintf(w, "  %s %s\n", list.what, visible.Visible(name))
		}
	}
	if a.Ledger != nil {
		writeSync(w, *a.Ledger)
	}
	if a.People != nil {
		writePeople(w, *a.People)
	}
	if a.Note != "" {
		fmt.Fprintf(w, "Note: %s\n", wrapped(a.Note, "      "))
	}
	for _, name := range slices.Sorted(maps.Keys(a.Refused)) {
		fmt.Fprintf(w, "✗ %s\n", wrapped("left out "+visible.Visible(name)+": "+visible.Visible(a.Refused[name]), "  "))
	}
	for _, c := range a.Conflicts {
		writeFileConflict(w, shop, c)
	}
}

// writePeople reports what became of the contacts.
func writePeople(w io.Writer, p shopsync.People) {
	fmt.Fprintf(w, "Whom to call: %d received, %d sent; %d forgotten here, %d there.\n", len(p.Received), len(p.Sent), len(p.ForgottenHere), len(p.ForgottenThere))
	for _, c := range p.Conflicts {
		fmt.Fprintf(w, "? %s\n", wrapped("Whom to call was changed here and there, and stays so on both: "+visible.Visible(c.Told()), "  "))
	}
	if len(p.Conflicts) > 0 {
		fmt.Fprintf(w, "  cardwright sync --settle %s --take ours   (or theirs)\n", contacts.File)
	}
}

func showConflicts(s *session, shop *manifest.Shop) error {
	list, err := shopsync.Conflicts(shop.Dir)
	if err != nil {
		return err
	}
	s.answer(struct {
		Format    int                 `json:"format"`
		Conflicts []shopsync.Conflict `json:"conflicts"`
	}{1, append([]shopsync.Conflict{}, list...)}, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "Nothing is in conflict.")
		}
		for _, c := range list {
			writeFileConflict(w, shop, c)
		}
	})
	if len(list) > 0 {
		return &answered{exitNo}
	}
	return nil
}

// writeConflict shows both sides of a file, and how to settle it.
func writeFileConflict(w io.Writer, shop *manifest.Shop, c shopsync.Conflict) {
	fmt.Fprintf(w, "? %s\n", wrapped(visible.Visible(c.File)+" was "+whatHappened(c)+": nothing is planned from it until you settle it.", "  "))
	ours, theirs, err := shopsync.Texts(shop.Dir, c)
	if err != nil {
		fmt.Fprintf(w, "  %s\n", wrapped("both sides can't be shown: "+err.Error(), "  "))
	} else if c.Ours != "" && c.Theirs != "" && ours != nil {
		writeSides(w, string(ours), string(theirs))
	}
	fmt.Fprintf(w, "  cardwright sync --settle %s --take ours   (or theirs)\n", media.ShellWord(c.File))
}

func whatHappened(c shopsync.Conflict) string {
	switch {
	case c.Ours == "":
		return "removed here and changed there"
	case c.Theirs == "":
		return "changed here and removed there"
	}
	return "changed here and there"
}

// Widths of a text that is shown next to another, in columns, and how many lines of
// one conflict are shown.
const (
	sideWidth = 37
	mostSides = 40
)

// writeSides shows where two texts differ, ours on the left.
func writeSides(w io.Writer, ours, theirs string) {
	a, b := strings.Split(ours, "\n"), strings.Split(theirs, "\n")
	rows := 0
	fmt.Fprintf(w, "  %-*s | %s\n", sideWidth, "ours", "theirs")
	for _, pair := range sideBySide(a, b) {
		if rows++; rows > mostSides {
			fmt.Fprintln(w, "  … and more: the files themselves have it")
			return
		}
		fmt.Fprintf(w, "  %s | %s\n", padded(pair[0]), strings.TrimRight(padded(pair[1]), " "))
	}
}

// sideBySide pairs the lines in which two texts differ; "" where one has none.
func sideBySide(a, b []string) (pairs [][2]string) {
	common := longestCommon(a, b)
	i, k := 0, 0
	for _, c := range append(common, [2]int{len(a), len(b)}) {
		for i < c[0] || k < c[1] {
			var pair [2]string
			if i < c[0] {
				pair[0] = a[i]
				i++
			}
			if k < c[1] {
				pair[1] = b[k]
				k++
			}
			pairs = append(pairs, pair)
		}
		i, k = c[0]+1, c[1]+1
	}
	return pairs
}

// mostCells bounds the work of laying two texts side by side; of longer ones only
// the lines before the first difference and after the last count as the same.
const mostCells = 4_000_000

// longestCommon are the places, in both, of the lines that two texts have in common.
func longestCommon(a, b []string) (common [][2]int) {
	first := 0
	for first < min(len(a), len(b)) && a[first] == b[first] {
		common = append(common, [2]int{first, first})
		first++
	}
	last := 0
	for last < min(len(a), len(b))-first && a[len(a)-1-last] == b[len(b)-1-last] {
		last++
	}
	n, m := len(a)-first-last, len(b)-first-last
	if n*m <= mostCells {
		length := make([][]int, n+1)
		for i := range length {
			length[i] = make([]int, m+1)
		}
		for i := n - 1; i >= 0; i-- {
			for k := m - 1; k >= 0; k-- {
				if a[first+i] == b[first+k] {
					length[i][k] = length[i+1][k+1] + 1
				} else {
					length[i][k] = max(length[i+1][k], length[i][k+1])
				}
			}
		}
		for i, k := 0, 0; i < n && k < m; {
			switch {
			case a[first+i] == b[first+k]:
				common = append(common, [2]int{first + i, first + k})
				i, k = i+1, k+1
			case length[i+1][k] >= length[i][k+1]:
				i++
			default:
				k++
			}
		}
	}
	for ; last > 0; last-- {
		common = append(common, [2]int{len(a) - last, len(b) - last})
	}
	return common
}

// padded is a line as it can be shown in its column.
func padded(line string) string {
	runes := []rune(visible.Visible(strings.ReplaceAll(strings.TrimRight(line, "\r"), "\t", "  ")))
	if len(runes) > sideWidth {
		runes = append(runes[:sideWidth-1], '…')
	}
	return string(runes) + strings.Repeat(" ", sideWidth-len(runes))
}

func settlePeople(s *session, shop *manifest.Shop, take string) error {
	n, err := shopsync.SettlePeople(shop, take == "theirs")
	if errors.Is(err, shopsync.ErrNoConflict) {
		return usage(err)
	}
	if err != nil {
		return err
	}
	s.answer(struct {
		Format int    `json:"format"`
		File   string `json:"file"`
		Take   string `json:"take"`
	}{1, contacts.File, take}, func(w io.Writer) {
		fmt.Fprintf(w, "Settled: whom to call about %s. The next sync with --contacts takes %s.\n", counted(n, "vessel"), take)
	})
	return nil
}

func runSettle(ctx context.Context, s *session, shop *manifest.Shop, o syncOptions) error {
	name := filepath.ToSlash(filepath.Clean(o.settle))
	if name == contacts.File {
		return settlePeople(s, shop, o.take)
	}
	if err := shopsync.Settle(ctx, shop, name, o.take == "theirs"); err != nil {
		if errors.Is(err, shopsync.ErrNoConflict) {
			return usage(fmt.Errorf("%w; cardwright sync shows those that are", err))
		}
		return err
	}
	s.answer(struct {
		Format int    `json:"format"`
		File   string `json:"file"`
		Take   string `json:"take"`
	}{1, name, o.take}, func(w io.Writer) {
		text := "ours stays, and goes to the other folder at the next sync"
		if o.take == "theirs" {
			text = "theirs is taken; the version here is kept in .sync/before"
		}
		fmt.Fprintf(w, "Settled: %s\n", wrapped(visible.Visible(name)+": "+text+".", "  "))
	})
	return nil
}

// inConflict says that something can't be planned from files that were changed here
// and on another laptop.
type inConflict struct{ files []string }

func (e *inConflict) Error() string {
	return fmt.Sprintf("changed here and on another laptop, and not settled yet: %s; see cardwright sync", visible.Visible(strings.Join(e.files, ", ")))
}

// refuseUnsettled refuses to plan for vessels while a conflict that concerns them isn't
// settled.
func refuseUnsettled(shop *manifest.Shop, vessels ...*manifest.Vessel) error {
	files, err := shopsync.Unsettled(shop, vessels...)
	if err != nil || len(files) == 0 {
		return err
	}
	return &inConflict{files}
}
