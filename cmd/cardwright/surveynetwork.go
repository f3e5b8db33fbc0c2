package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/nmea2000"
	"cardwright/manifest/survey"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// seenAboard is the answer of survey --network in JSON.
type seenAboard struct {
	Format  int               `json:"format"`
	Vessel  string            `json:"vessel"` // "" where none was named
	Network *nmea2000.Network `json:"network"`
	Lines   []survey.Line     `json:"lines"`
}

// network reads a capture and compares it with a vessel's file; id is "" where no
// vessel was named.
func (v *surveying) network(ctx context.Context, id string) (err error) {
	if id != "" {
		v.shop, v.vessel, err = v.session.vessel(id)
	} else {
		v.shop, err = v.shopIfAny()
	}
	if err != nil {
		return err
	}
	network, err := readCapture(ctx, &v.terminal, v.options.network)
	if err != nil {
		return err
	}
	if v.shop == nil {
		v.shop = &manifest.Shop{}
	}
	if v.options.write {
		if err := v.byHand(ctx); err != nil {
			return err
		}
		return v.takeOver(ctx, network)
	}
	found := survey.Compare(v.shop, v.vessel, network)
	if v.json {
		v.writeJSON(seenAboard{1, id, network, found})
	} else {
		writeNetwork(v.out, v.vessel, network, found)
	}
	return networkCode(v.vessel, network, found)
}

func readCapture(ctx context.Context, t *terminal, path string) (*nmea2000.Network, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading the capture: %w", err)
	}
	defer f.Close() // opened for reading only
	bar := t.bar("reading the capture", sizeOf(path))
	defer bar.end()
	return nmea2000.ReadCapture(ctx, path, &counting{f, bar})
}

// counting passes the bytes read to a progress bar.
type counting struct {
	io.Reader
	bar *bar
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.bar.add(int64(n))
	return n, err
}

// networkCode is 3 where network and file differ, and 4 where some of the
// capture was lost or a device can't be identified.
func networkCode(vessel *manifest.Vessel, n *nmea2000.Network, found []survey.Line) error {
	switch survey.Conclude(vessel, n, found) {
	case survey.Differs:
		return &answered{exitNo}
	case survey.Unclear:
		return &answered{exitUnchecked}
	}
	return nil
}

// stateMarks are a symbol and a word, never colour alone.
var stateMarks = map[survey.State]string{
	survey.Same: "✓ same", survey.Differs: "✗ differs", survey.New: "+ not in the file", survey.NotSeen: "- not seen",
	survey.UnknownModel: "? unknown model", survey.Unclear: "? unclear",
}

func writeNetwork(w io.Writer, vessel *manifest.Vessel, n *nmea2000.Network, found []survey.Line) {
	if n.Frames == 0 && !n.Whole() {
		writeNoCapture(w, n)
		return
	}
	fmt.Fprintf(w, "%s on the network, %s in %s.\n", counted(len(n.Devices), "device"), counted(n.Frames, "frame"), counted(n.Lines, "line"))
	for _, l := range found {
		writeSeen(w, vessel, l)
	}
	if n.Silent > 0 {
		fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("%s claimed an address and said nothing of its product: capture again while the displays are switched on.", counted(n.Silent, "more device")), ""))
	}
	if n.Frames == 0 && n.Whole() {
		fmt.Fprintln(w, "\nThere is no frame in it: capture again while the devices are switched on.")
	}
	if n.Whole() {
		return
	}
	b := n.Broken
	fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("Not all of it could be read: %s lost (%d with frames missing, %d with frames repeated, %d too late, %d of a wrong length, %d cut short), %s not understood, %s left out.",
		counted(b.Messages(), "message"), b.Gaps, b.Repeated, b.Late, b.Lengths, b.Cut, counted(n.Bad, "line"), counted(n.Left, "frame")), ""))
	for _, f := range n.Faults {
		fmt.Fprintf(w, "  line %d: %s\n", f.Line, visible.Visible(f.Text))
	}
}

// writeNoCapture says of a file that is no capture how it begins, and what would be
// one.
func writeNoCapture(w io.Writer, n *nmea2000.Network) {
	const shown = 3
	fmt.Fprintf(w, "%s\n", wrapped(fmt.Sprintf("No frame of a network could be read from %s: none of its %s is in a known form. It begins:", n.Name, counted(n.Bad, "line")), ""))
	for _, f := range n.Faults[:min(shown, len(n.Faults))] {
		fmt.Fprintf(w, "  %s\n", wrappedAfter(fmt.Sprintf("line %d: ", f.Line), f.Text, "    "))
	}
	fmt.Fprintln(w, "\nThese forms are read, as text:")
	for _, form := range nmea2000.Forms {
		fmt.Fprintf(w, "  %s\n", wrappedAfter("- ", form, "    "))
	}
	fmt.Fprintln(w, "\nExport the capture as one of them, and read it again.")
}

// writeSeen writes one device. What it says of itself is a stranger's text.
func writeSeen(w io.Writer, vessel *manifest.Vessel, l survey.Line) {
	mark := stateMarks[l.State]
	if vessel == nil && l.State == survey.New {
		mark = "✓ known model"
	}
	fmt.Fprintf(w, "\n%s: %s\n", mark, or(l.Device, or(l.Model, "?")))
	if l.Seen != nil {
		p := l.Seen.Product
		says := []string{quotedText(p.Model), "version " + quotedText(p.Software), "serial " + quotedText(p.Serial)}
		if p.Hardware != "" {
			says = append(says, "hardware "+quotedText(p.Hardware))
		}
		where := fmt.Sprintf("address %d", l.Seen.Address)
		if l.Seen.Bus != "" {
			where += " on " + l.Seen.Bus
		}
		if l.Seen.Name != 0 {
			where += fmt.Sprintf(", maker's code %d", l.Seen.Name.Manufacturer())
		}
		for i, also := range l.Seen.Also {
			if i == 0 {
				where += "; the same box also at"
			} else {
				where += ","
			}
			where += fmt.Sprintf(" %d", also)
		}
		writeLabelled(w, "network", strings.Join(says, ", ")+"; product code "+fmt.Sprint(p.Code)+"; "+where)
	}
	if l.Seen != nil && l.Version != "" && string(l.Version) != l.Seen.Product.Software {
		writeLabelled(w, "version", string(l.Version)+", read from "+quotedText(l.Seen.Product.Software))
	}
	if l.Device != "" {
		writeLabelled(w, "file", l.Model+", version "+or(l.Was, "unknown")+", serial "+or(l.WasSerial, "not written down"))
	}
	if l.Why != "" {
		writeLabelled(w, "why", l.Why)
	}
}

// quotedText is a stranger's text, not yet safe to show: writeLabelled makes it.
func quotedText(s string) string { return "“" + s + "”" }

// takeOver writes into the vessel's file the devices identified for certain.
func (v *surveying) takeOver(ctx context.Context, n *nmea2000.Network) error {
	file, err := v.reopen()
	if err != nil {
		return err
	}
	found, left := record.SurveyFromNetwork(survey.Compare(v.shop, v.vessel, n), time.Now().UTC().Truncate(time.Second))
	if err := v.save(ctx, file, found); err != nil {
		return err
	}
	switch {
	case left > 0:
		fmt.Fprintf(v.aside(), "Not taken over: %s that could not be identified for certain. See cardwright survey %s --network.\n", counted(left, "device"), v.vessel.ID)
	case !n.Whole() || n.Frames == 0:
		fmt.Fprintf(v.aside(), "Not all of the capture could be read: see cardwright survey %s --network.\n", v.vessel.ID)
	default:
		return nil
	}
	return &answered{exitUnchecked}
}

// fromNetwork are the devices of a capture whose model is known.
func fromNetwork(ctx context.Context, t *terminal, shop *manifest.Shop, path string) ([]edit.NewDevice, error) {
	network, err := readCapture(ctx, t, path)
	if err != nil {
		return nil, err
	}
	var all []edit.NewDevice
	for _, l := range survey.Compare(shop, nil, network) {
		if l.State == survey.New {
			all = append(all, edit.NewDevice{At: manifest.Pos{File: path}, Model: l.Model, Serial: l.Serial, Version: string(l.Version)})
			if l.Version == "" {
				fmt.Fprintf(t.errs, "%s at address %d: %s; its version was left out\n", l.Model, l.Seen.Address, visible.Visible(l.Why))
			}
			continue
		}
		fmt.Fprintf(t.errs, "%s at address %d was left out: %s\n", visible.Visible(quotedText(l.Seen.Product.Model)), l.Seen.Address, l.Why)
	}
	if !network.Whole() {
		fmt.Fprintf(t.aside(), "Not all of %s could be read: see cardwright survey --network.\n", visible.Visible(path))
	}
	return all, nil
}
