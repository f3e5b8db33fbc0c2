package main

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"cardwright/media"
	"cardwright/media/capacity"
)

// The forms of --prove-capacity.
const (
	proveFull  = "full"
	proveQuick = "quick"
)

func (p *preparing) provable() error {
	switch p.options.capacity {
	case "":
		return nil
	case proveFull, proveQuick:
	default:
		return usage(fmt.Errorf("--prove-capacity=%s: expected %s or %s", p.options.capacity, proveFull, proveQuick))
	}
	for _, t := range p.targets {
		if t.kind != driveTarget {
			return usage(fmt.Errorf("--prove-capacity is for drives: %s is not one", t.path))
		}
	}
	return nil
}

// prove has every card show that it holds what it claims, all at once. One
// that doesn't is blanked and not written.
func (p *preparing) prove(ctx context.Context) {
	var total int64
	if p.options.capacity == proveFull {
		for _, t := range p.targets {
			total += 2 * t.bytes
		}
	}
	bar := p.session.bar("proving capacity", total)
	defer bar.end()
	var wait sync.WaitGroup
	for _, t := range p.targets {
		wait.Go(func() { t.failed = p.proveOne(ctx, t, bar) })
	}
	wait.Wait()
}

func (p *preparing) proveOne(ctx context.Context, t *cardTarget, bar *bar) error {
	var before int64
	options := capacity.Options{Progress: func(_ capacity.Phase, done, _ int64) {
		bar.add(done - before)
		before = done
	}}
	proof := capacity.Prove
	if p.options.capacity == proveQuick {
		proof = capacity.Probe
	}
	result, err := proof(ctx, t.medium, options)
	if err == nil && result.Verdict == capacity.Holds {
		t.capacity = &result
		return nil
	}
	if err == nil {
		t.capacity = &result
		err = &media.Misread{Err: errors.New(result.Conclusion())}
	} else {
		err = fmt.Errorf("proving the capacity of %s: %w", t.path, err)
	}
	if blanking := t.job.Blank(t.medium); blanking != nil {
		return &media.NotBlank{Cause: err, Blanking: blanking}
	}
	return err
}
