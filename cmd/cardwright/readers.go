package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/media/readers"
	"cardwright/verify"
	"cardwright/verify/prepare"
	"cardwright/verify/visible"
)

func newReadersCommand(s *session) *cobra.Command {
	return &cobra.Command{
		Use:   "readers",
		Short: "List card readers and the cards in them, and which may be erased",
		Long: `readers lists what could be a card in a reader, with the card's code. The code belongs
to what is on the card and changes with it; prepare asks for it before it erases one.
This list allows cards of 4 to 32 GB to be erased, the sizes that most vessel
electronics take; prepare uses the sizes that the vessel's devices take.`,
		Example: `  cardwright readers`,
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runReaders(interruptible(cmd), s)
		},
	}
}

// noReaders is said where the list is empty.
const noReaders = "No card reader and no card was found. Put one in, wait a few seconds, try again."

// listedReader is one entry of the answer.
type listedReader struct {
	readers.Drive
	Nominal  int64           `json:"nominal"`
	Band     readers.Band    `json:"band"`
	Code     string          `json:"code"` // "" where the card can't be read
	Holds    string          `json:"holds,omitempty"`
	Unread   string          `json:"unread"`
	MayErase readers.Verdict `json:"may_erase"`
	noRights bool            // to read it
}

func runReaders(ctx context.Context, s *session) error {
	drives, err := readers.List(ctx)
	if err != nil {
		return err
	}
	shop, err := s.shopIfAny()
	if err != nil {
		shop = nil // the list does without whose cards they are
	}
	found := []listedReader{}
	for _, d := range drives {
		if d.InReader() {
			found = append(found, describedReader(ctx, shop, d))
		}
	}
	if s.json {
		s.writeJSON(struct {
			Format  int            `json:"format"`
			Readers []listedReader `json:"readers"`
		}{1, found})
		return nil
	}
	if len(found) == 0 {
		fmt.Fprintln(s.out, noReaders)
	}
	for i, r := range found {
		if i > 0 {
			fmt.Fprintln(s.out)
		}
		writeReader(s.out, r)
	}
	return nil
}

func describedReader(ctx context.Context, shop *manifest.Shop, d readers.Drive) listedReader {
	r := listedReader{Drive: d, MayErase: readers.MayErase(d, readers.UsualLimits)}
	if d.Bytes == 0 {
		return r
	}
	r.Nominal, r.Band = readers.Nominal(d.Bytes), readers.BandOf(d.Bytes)
	seen, err := prepare.See(prepare.Computer{}, d.Path)
	if errors.Is(err, fs.ErrPermission) {
		r.Unread, r.noRights = "you need more rights: "+drive.RightsAdvice(), true
		if r.MayErase.OK {
			r.MayErase = readers.Verdict{}
		}
		r.MayErase.Reasons = append(r.MayErase.Reasons, "can't be read without more rights, so nobody knows what is on it")
		return r
	}
	if err != nil {
		r.Unread = err.Error()
		return r
	}
	r.Code = seen.Code
	r.Holds = prepare.HeldOn(d, seen.On, func(on verify.Listing) string { return holds(ctx, shop, on) })
	if r.FileSystem == "" {
		r.FileSystem, r.Label = seen.On.FileSystem, seen.On.Label
	}
	return r
}

func writeReader(w io.Writer, r listedReader) {
	fmt.Fprintf(w, "%s  %s\n", r.Path, wrapped(described(r.Drive), "    "))
	if r.Bytes == 0 {
		fmt.Fprintln(w, "    no card in it")
		return
	}
	nominal := ""
	if r.Nominal > 0 {
		nominal = fmt.Sprintf(", sold as %s", nominalText(r.Nominal))
	}
	fmt.Fprintf(w, "    %s%s; %s\n", media.Bytes(r.Bytes), nominal, r.Band)
	fmt.Fprintf(w, "    %s\n", wrapped(contentsOf(r), "    "))
	if r.Holds != "" {
		fmt.Fprintf(w, "    %s\n", wrapped("holds "+r.Holds, "      "))
	}
	if r.Code != "" {
		fmt.Fprintf(w, "    code %s\n", r.Code)
	} else {
		fmt.Fprintf(w, "    %s\n", wrapped("could not be read: "+r.Unread, "      "))
	}
	word := "✗ not erased: "
	if r.MayErase.OK {
		word = "✓ may be erased: "
	}
	fmt.Fprintf(w, "    %s\n", wrapped(word+strings.Join(r.MayErase.Reasons, "; "), "      "))
}

func nominalText(bytes int64) string {
	if bytes >= 1e9 {
		return fmt.Sprintf("%d GB", bytes/1e9)
	}
	return fmt.Sprintf("%d MB", bytes/1e6)
}

// contentsOf says what file systems are on a drive and where they are mounted.
func contentsOf(r listedReader) string {
	var parts []string
	for _, d := range append([]readers.Drive{r.Drive}, r.Parts...) {
		if d.FileSystem == "" && len(d.Mounts) == 0 {
			continue
		}
		text := visible.Visible(d.FileSystem)
		if d.Label != "" {
			text += fmt.Sprintf(" %q", d.Label)
		}
		if len(d.Mounts) > 0 {
			text += " mounted at " + strings.Join(d.Mounts, ", ")
		}
		parts = append(parts, strings.TrimSpace(text))
	}
	if len(parts) == 0 && r.noRights {
		return "can't be read without rights"
	}
	if len(parts) == 0 {
		return "no file system"
	}
	return strings.Join(parts, "; ")
}

// described is a drive in a few words: what the reader calls itself.
func described(d readers.Drive) string {
	words := strings.TrimSpace(d.Vendor + " " + d.Model)
	if words == "" {
		words = d.Type
	}
	if d.Transport != "" {
		words += " on " + d.Transport
	}
	return words
}
