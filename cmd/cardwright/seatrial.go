package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/seatrial"
	"cardwright/verify/seatrial/live"
	"cardwright/verify/seatrial/sentences"
	"cardwright/verify/sheet"
	"cardwright/verify/visible"
)

type seatrialOptions struct {
	vessel     string
	key        keyOptions
	form       formOptions
	output     string
	variation  string
	heading    string
	reference  string
	course     string
	rudder     string
	noChecksum bool
	bare       bool
	pilot      bool
	setUpAnew  bool
	before     []string
	minutes    float64
	keep       string
	record     bool
	sensor     string
}

func newSeatrialCommand(s *session) *cobra.Command {
	var o seatrialOptions
	cmd := &cobra.Command{
		Use:   "seatrial LOG...",
		Short: "Tell from a log whether compass and steering are right",
		Example: `  cardwright seatrial trial.log --for kittiwake -o trial.pdf
  cardwright seatrial tcp://192.168.1.20:10110 --minutes 45 --keep trial.log`,
		Long: `seatrial reads what the boat's own instruments said under way (NMEA 0183
sentences, or a text capture of NMEA 2000) and reports, each value with its doubt:
how the compass is aligned, its deviation, how the course is kept, what changed
since the last time. The answer is one of three words: within tolerance (0),
outside (3), can't tell (4); what is missing is said with how to get it.

What to run: the eight headings 000, 045, … 315 by compass, each twice, two and
a half minutes each, at 5 kn or more, in calm open water; or, where a satellite
or gyro compass is aboard and logged, one and a half slow turns each way.

Instead of a file, a LOG may be ` + live.Forms + `,
listened to for --minutes.

` + seatrial.Advice,
		Args: several("logs"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSeatrial(interruptible(cmd), s, o, args)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.vessel, "for", "", "the `VESSEL`, by its id")
	o.key.addFlag(cmd)
	flags.StringVarP(&o.output, "output", "o", "", "write the page to this `FILE`: .html, .pdf, or text")
	flags.StringVar(&o.form.format, "format", "", "`FORMAT`: text, html or pdf (default: by the file's ending, else text)")
	flags.StringVar(&o.form.paper, "paper", string(sheet.A4), "`PAPER`: a4 or letter")
	flags.StringVar(&o.form.dates, "dates", string(sheet.DatesISO), "how dates are written: `FORM` is iso, day or month: 2026-03-02, 2 Mar 2026, Mar 2, 2026")
	flags.StringVar(&o.variation, "variation", "", "magnetic variation: `DEGREES` such as 12.6W or 3E (default: as the log says, or by the World Magnetic Model)")
	flags.StringVar(&o.heading, "heading", "", "`SENTENCES` of the compass on trial: HCHDG (default: those with the most values)")
	flags.StringVar(&o.reference, "reference", "", "`SENTENCES` of a satellite or gyro compass: GPHDT (default: HDT of such a talker)")
	flags.StringVar(&o.course, "course", "", "`SENTENCES` of course and speed over ground: GPRMC")
	flags.StringVar(&o.rudder, "rudder", "", "`SENTENCES` of the rudder: ERRSA")
	flags.BoolVar(&o.noChecksum, "no-checksum", false, "take sentences without a checksum; the trial reports them")
	flags.BoolVar(&o.bare, "bare-reading", false, "leave the deviation field of HDG out")
	flags.BoolVar(&o.pilot, "pilot", false, "the pilot steered: judge course keeping and overshoot")
	flags.StringArrayVar(&o.before, "before", nil, "a `LOG` from before the work, to compare with; may be repeated")
	flags.BoolVar(&o.setUpAnew, "set-up-anew", false, "the compass was set up anew since the earlier trial: B and C aren't compared")
	flags.Float64Var(&o.minutes, "minutes", 0, "how many `MINUTES` to listen, where a LOG is an address")
	flags.StringVar(&o.keep, "keep", "", "also write the sentences heard to this `FILE`")
	flags.BoolVar(&o.record, "record", false, "note values and verdict in the ledger, as checks of the visit")
	flags.StringVar(&o.sensor, "sensor", "", "`ID` of the heading sensor aboard, where there are several")
	return cmd
}

// seatrying is one run of seatrial.
type seatrying struct {
	session *session
	options seatrialOptions
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	digests []sheet.Fact
}

func runSeatrial(ctx context.Context, s *session, o seatrialOptions, logs []string) error {
	r := seatrying{session: s, options: o}
	format, in, err := r.prepare()
	if err != nil {
		return err
	}
	if in.Earlier, err = r.before(ctx, in); err != nil {
		return err
	}
	if in.Log, err = r.read(ctx, logs); err != nil {
		return err
	}
	if in.Earlier == nil && r.vessel != nil {
		if in.Earlier, err = r.earlier(ctx, in.Log); err != nil {
			return err
		}
	}
	trial := seatrial.Try(in)
	if err := r.write(trial, format); err != nil {
		return err
	}
	if o.record {
		if err := r.record(ctx, trial); err != nil {
			return err
		}
	}
	switch trial.Verdict {
	case seatrial.Outside:
		return &answered{exitNo}
	case seatrial.Within:
		return nil
	}
	return &answered{exitUnchecked}
}

// trialPage is the page of a sea trial, to end an install order.
func (s *session) trialPage(ctx context.Context, vessel string, o sheetOptions) (sheet.Sheet, error) {
	r := seatrying{session: s, options: seatrialOptions{vessel: vessel, form: o.form}}
	_, in, err := r.prepare()
	if err != nil {
		return sheet.Sheet{}, err
	}
	if in.Log, err = r.read(ctx, o.trials); err != nil {
		return sheet.Sheet{}, err
	}
	if in.Earlier, err = r.earlier(ctx, in.Log); err != nil {
		return sheet.Sheet{}, err
	}
	return r.made(seatrial.Try(in))
}

// made is the page of a trial.
func (r *seatrying) made(t seatrial.Trial) (sheet.Sheet, error) {
	return sheet.MakeTrial(sheet.TrialInput{
		Shop: r.shop, Vessel: r.vessel, Trial: t, Digests: r.digests, When: time.Now(), Technician: r.session.by, Dates: sheet.Dates(r.options.form.dates),
	})
}

// before is the trial of the logs of --before; nil where none are named.
func (r *seatrying) before(ctx context.Context, in seatrial.Input) (*seatrial.Earlier, error) {
	if len(r.options.before) == 0 {
		return nil, nil
	}
	log, err := r.read(ctx, r.options.before)
	if err != nil {
		return nil, err
	}
	r.digests = nil // the page is of the other logs
	in.Log = log
	was := seatrial.Try(in).Kept(strings.Join(r.options.before, ", "), log.Date)
	return &was, nil
}

// prepare checks what was asked for, before anything is read.
func (r *seatrying) prepare() (format string, in seatrial.Input, err error) {
	o := r.options
	if format, err = o.form.formatFor(o.output); err != nil {
		return "", in, err
	}
	if o.vessel == "" {
		r.shop, err = r.session.shopIfAny()
	} else {
		r.shop, r.vessel, err = r.session.vessel(o.vessel)
	}
	if err != nil {
		return "", in, err
	}
	in = seatrial.Input{
		Words:      commandWords,
		Tolerances: r.tolerances(), Heading: o.heading, Reference: o.reference, Course: o.course, Helm: o.rudder,
		BareReading: o.bare, Pilot: o.pilot, SetUpAnew: o.setUpAnew,
	}
	if o.variation != "" {
		v, err := parseVariation(o.variation)
		if err != nil {
			return "", in, err
		}
		in.Variation = &v
	}
	for _, p := range []page{r.page("output", o.output), r.page("keep", o.keep)} {
		if err := p.check(); err != nil {
			return "", in, err
		}
	}
	if o.record && r.vessel == nil {
		return "", in, usage(errors.New("--record notes a trial of a vessel: name it with --for"))
	}
	if o.record {
		if _, err := r.trial(seatrial.Trial{}).Device(); err != nil {
			return "", in, usage(fmt.Errorf("--sensor: %w", err))
		}
		if _, err := o.key.ledgerKey(); err != nil {
			return "", in, err
		}
	}
	return format, in, nil
}

func (r *seatrying) page(flag, path string) page { return page{flag: flag, path: path, shop: r.shop} }

// tolerances are the shop's own where it has set some.
func (r *seatrying) tolerances() seatrial.Tolerances {
	all := seatrial.Usual()
	if r.shop == nil || r.shop.SeaTrial == nil {
		return all
	}
	set := r.shop.SeaTrial
	for _, t := range []struct {
		text string
		to   *seatrial.Tolerance
	}{
		{set.Deviation, &all.Deviation},
		{set.Alignment, &all.Alignment},
		{set.Helm, &all.Helm},
		{set.Course, &all.RMS},
		{set.Overshoot, &all.Overshoot},
	} {
		if most, err := strconv.ParseFloat(t.text, 64); err == nil { // its form was checked
			*t.to = seatrial.Tolerance{Most: most, Source: set.By + ", shop.yaml"}
		}
	}
	return all
}

// parseVariation reads 12.6W, 3E, -12.6.
func parseVariation(text string) (float64, error) {
	const most = 180
	word, sign := strings.ToUpper(strings.TrimSuffix(strings.TrimSpace(text), "°")), 1.0
	if rest, west := strings.CutSuffix(word, "W"); west {
		word, sign = rest, -1
	} else {
		word = strings.TrimSuffix(word, "E")
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(word, "°")), 64)
	if err != nil || !(v >= -most && v <= most) || sign < 0 && v < 0 {
		return 0, usage(fmt.Errorf("--variation %s: expected degrees with their side, as in 12.6W or 3E", text))
	}
	return sign * v, nil
}

// read reads logs one after the other into one.
func (r *seatrying) read(ctx context.Context, logs []string) (*sentences.Log, error) {
	reader := sentences.NewReader(sentences.Options{NoChecksum: r.options.noChecksum})
	for _, name := range logs {
		if err := r.readOne(ctx, reader, name); err != nil {
			return nil, err
		}
	}
	return reader.Log(), nil
}

func (r *seatrying) readOne(ctx context.Context, reader *sentences.Reader, name string) error {
	if live.Is(name) {
		return r.listen(ctx, reader, name)
	}
	in, err := r.open(name)
	if err != nil {
		return fmt.Errorf("reading the log: %w", err)
	}
	defer in.Close() // opened for reading only
	bar := r.session.bar("reading "+name, sizeOf(name))
	defer bar.end()
	sum := sha256.New()
	err = reader.ReadAny(ctx, name, io.TeeReader(&counting{in, bar}, sum))
	r.digest(name, sum)
	return err
}

func (r *seatrying) open(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(bufio.NewReader(r.session.in)), nil
	}
	info, err := os.Stat(name)
	if err == nil && info.IsDir() {
		return nil, fmt.Errorf("%s is a folder: name the logs in it", name)
	}
	return os.Open(name)
}

func (r *seatrying) digest(name string, sum hash.Hash) {
	r.digests = append(r.digests, sheet.Fact{Label: "SHA-256 of " + name, Value: hex.EncodeToString(sum.Sum(nil)), Exact: true})
}

// longestListening bounds --minutes.
const longestListening = 24 * 60

// listen hears what comes at an address for the time that was asked for.
func (r *seatrying) listen(ctx context.Context, reader *sentences.Reader, address string) error {
	minutes := r.options.minutes
	if !(minutes > 0 && minutes <= longestListening) {
		return usage(fmt.Errorf("%s is listened to for a stated time: --minutes 40, %d at most", address, longestListening))
	}
	timed, cancel := context.WithTimeout(ctx, time.Duration(minutes*float64(time.Minute)))
	defer cancel()
	in, err := live.Open(timed, address)
	if errors.Is(err, live.ErrAddress) {
		return usage(err)
	}
	if err != nil {
		return err
	}
	defer in.Close() // only listened to
	fmt.Fprintf(r.session.errs, "Listening at %s for %g minutes.\n", address, minutes)
	sum := sha256.New()
	to := io.Writer(sum)
	if r.options.keep != "" {
		kept, err := os.OpenFile(r.options.keep, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o666)
		if err != nil {
			return fmt.Errorf("writing the sentences heard: %w", err)
		}
		defer func() { err = errors.Join(err, kept.Close()) }()
		to = io.MultiWriter(sum, kept)
	}
	err = reader.Live(ctx, address, io.TeeReader(in, to), time.Now)
	r.digest(address, sum)
	return err
}

// write writes the page, and on the screen the answer.
func (r *seatrying) write(t seatrial.Trial, format string) error {
	s := r.session
	made, err := r.made(t)
	if err != nil {
		return err
	}
	content, err := r.options.form.render(r.shop, made, format)
	if err != nil {
		return fmt.Errorf("making the page: %w", err)
	}
	if r.options.output != "" {
		if err := r.page("output", r.options.output).write(content); err != nil {
			return fmt.Errorf("writing the page: %w", err)
		}
	}
	switch {
	case s.json:
		s.writeJSON(t)
	case r.options.output == "":
		if _, err := s.out.Write(content); err != nil {
			return fmt.Errorf("writing the page: %w", err)
		}
	default:
		r.summary(t)
	}
	return nil
}

var trialMarks = map[seatrial.Verdict]string{
	seatrial.Within: "✓ WITHIN TOLERANCE", seatrial.Outside: "✗ OUTSIDE", seatrial.CantTell: "? CAN'T TELL",
}

// summary is the answer where the page went to a file.
func (r *seatrying) summary(t seatrial.Trial) {
	out := r.session.out
	of := strings.Join(t.Log.Files, ", ")
	if r.vessel != nil {
		of += ", " + r.vessel.Name
	}
	fmt.Fprintf(out, "%s\n%s\n", headed(trialMarks[t.Verdict], of), wrapped(t.Says, ""))
	for _, next := range t.Next {
		fmt.Fprintf(out, "  %s\n", wrappedAfter("- ", next, "    "))
	}
	fmt.Fprintf(out, "%s\n", wrapped(t.Advice, ""))
	fmt.Fprintf(r.session.errs, "Page written to %s\n", visible.Visible(r.options.output))
}
