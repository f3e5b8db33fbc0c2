package main

import (
	"bufio"
	"context"
	"fmt"
	"os"

	"golang.org/x/term"

	"cardwright/media"
	"cardwright/verify/prepare"
	"cardwright/verify/visible"
)

// open says what is on a target, asks what has to be agreed to, and opens it for
// writing.
func (p *preparing) open(ctx context.Context, run *prepare.Run, t *prepare.Target) error {
	q, err := run.Question(ctx, t)
	if err != nil {
		return err
	}
	p.tellHeld(q)
	said := ""
	if q.Refused == nil && q.Code != "" {
		if said, err = p.askCode(ctx, q); err != nil {
			return err
		}
	}
	if err := q.Answer(said); err != nil {
		return err
	}
	if q.Saved != "" {
		fmt.Fprintln(p.session.errs, wrapped(fmt.Sprintf("First the whole card (%s) is copied to %s, and the copy compared. Nothing is erased before that.", media.Bytes(t.Bytes), q.Saved), ""))
	}
	if err := run.Open(ctx, t, q); err != nil {
		return err
	}
	if q.Saved != "" {
		fmt.Fprintf(p.session.errs, "The card was saved to %s and the copy compared.\n", visible.Visible(q.Saved))
	}
	return nil
}

// tellHeld says what is on a target before it goes, and which files nobody here wrote.
func (p *preparing) tellHeld(q prepare.Question) {
	if q.Held != "" {
		fmt.Fprintln(p.session.errs, wrapped(fmt.Sprintf("%s holds %s.", q.Target, q.Held), "  "))
	}
	for _, lost := range q.Lost {
		newest := ""
		if !lost.Newest.IsZero() {
			newest = ", newest of " + lost.Newest.Format("2006-01-02")
		}
		fmt.Fprintf(p.session.errs, "  %s: %s, %s%s\n", lost.Sort, counted(lost.Count, "file"), media.Bytes(lost.Bytes), newest)
	}
	if q.Unread {
		fmt.Fprintln(p.session.errs, "  and more that could not be read")
	}
}

// askCode has a person type the card's code.
func (p *preparing) askCode(ctx context.Context, q prepare.Question) (string, error) {
	in, ok := p.session.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return "", fmt.Errorf("erasing %s takes a person's word: type the code at a terminal, or give --erase %s", q.Target, q.Code)
	}
	fmt.Fprintf(p.session.errs, "%s: %s, %s\nAll of it will be erased. To go on, type the card's code %s: ",
		q.Target, media.Bytes(q.Drive.Bytes), visible.Visible(described(q.Drive)), q.Code)
	typed, err := lineTyped(ctx, bufio.NewReader(in))
	if err != nil {
		fmt.Fprintln(p.session.errs) // nobody ended the line of the question
		return "", fmt.Errorf("asking whether to erase, nothing was erased: %w", err)
	}
	return typed, nil
}
