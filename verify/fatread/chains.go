package fatread

import (
	"errors"
	"fmt"
)

// chain is what following one gave: clusters that nothing else had claimed,
// and why it stopped.
type chain struct {
	runs     []Run
	clusters int64
	stop     FaultKind // "": at an end mark
	at       uint32    // the cluster that it stopped at
	from     uint32    // the one before; 0: none
	err      error
}

// mostRuns is enough for every directory: 65,536 entries in the smallest of
// clusters.
const mostRuns = mostEntries * entryBytes / sectorBytes

func (ch *chain) push(c uint32) {
	ch.clusters++
	if n := len(ch.runs); n > 0 && ch.runs[n-1].First+ch.runs[n-1].Count == c {
		ch.runs[n-1].Count++
		return
	}
	if len(ch.runs) < mostRuns {
		ch.runs = append(ch.runs, Run{c, 1})
	}
}

// held counts the clusters whose runs were kept.
func (ch *chain) held() (n int64) {
	for _, r := range ch.runs {
		n += int64(r.Count)
	}
	return n
}

// chains follows the clusters of a volume's files and folders, and claims each for
// one of them: a chain ends where a cluster is claimed already. So a loop is
// followed once, and all chains together are no longer than the volume.
type chains struct {
	log     *volumeLog
	v       *Volume
	fat     *fat
	claimed *claims
}

// of claims the clusters of a file or folder. Without a chain, as exFAT may have it,
// its size says how many follow one another.
func (c *chains) of(e *Entry, size int64) chain {
	if e.contiguous {
		return c.stretch(e.First, c.v.clustersFor(size))
	}
	return c.follow(e.First)
}

// follow claims the clusters of a chain up to the first that isn't its own.
func (c *chains) follow(first uint32) chain {
	var ch chain
	for at := first; ; {
		ch.at = at
		if at < 2 || at > c.fat.last {
			ch.stop = ChainRange
			return ch
		}
		v, err := c.fat.get(at)
		switch {
		case err != nil:
			ch.stop, ch.err = ReadFailed, err
		case v == 0:
			ch.stop = ChainFree
		case v == c.fat.badMark():
			ch.stop = ChainBad
		case !c.claimed.room(at):
			ch.stop = LimitReached
		case !c.claimed.set(at):
			ch.stop = c.crossOrLoop(first, at, ch.clusters)
		}
		if ch.stop != "" {
			return ch
		}
		ch.push(at)
		if v >= c.fat.end {
			return ch
		}
		ch.from, at = at, v
	}
}

// crossOrLoop reports why a cluster is claimed already: by this very chain of so many
// clusters, or by another file.
func (c *chains) crossOrLoop(first, cluster uint32, clusters int64) FaultKind {
	for at, n := first, int64(0); n < clusters; n++ {
		if at == cluster {
			return ChainLoop
		}
		v, err := c.fat.get(at)
		if err != nil {
			break
		}
		at = v
	}
	return ChainCross
}

// stretch claims clusters that follow one another without a chain.
func (c *chains) stretch(first uint32, need int64) (ch chain) {
	for at := first; ch.clusters < need; at++ {
		ch.at = at
		switch {
		case at < 2 || at > c.fat.last:
			ch.stop = ChainRange
		case !c.claimed.room(at):
			ch.stop = LimitReached
		case !c.claimed.set(at):
			ch.stop = ChainCross
		}
		if ch.stop != "" {
			return ch
		}
		ch.push(at)
	}
	return ch
}

// tell reports why a chain stopped, where that is wrong.
func (c *chains) tell(path string, ch chain) {
	if ch.stop == "" {
		return
	}
	off := int64(-1)
	if ch.from != 0 {
		off = c.fat.place(ch.from)
	}
	expected := fmt.Sprintf("a cluster from 2 to %d, or an end mark", c.fat.last)
	switch ch.stop {
	case ReadFailed:
		c.tellUnread(path, ch.err)
	case LimitReached:
		c.log.stop(path, fmt.Sprintf("clusters in %d groups of %d at most", markPages, markPage), "more")
	case ChainRange:
		c.log.fault(ChainRange, path, off, expected, fmt.Sprintf("cluster %d", ch.at))
	case ChainFree:
		c.log.fault(ChainFree, path, off, "a cluster in use", fmt.Sprintf("cluster %d, marked free", ch.at))
	case ChainBad:
		c.log.fault(ChainBad, path, off, "a cluster that can be read", fmt.Sprintf("cluster %d, marked bad", ch.at))
	case ChainLoop:
		c.log.fault(ChainLoop, path, off, "an end mark", fmt.Sprintf("cluster %d again", ch.at))
	case ChainCross:
		c.log.fault(ChainCross, path, off, "a cluster of its own", fmt.Sprintf("cluster %d, which %s has", ch.at, c.owner(ch.at)))
	}
}

func (c *chains) tellUnread(path string, err error) {
	if errors.Is(err, errScattered) {
		c.log.stop(path, fmt.Sprintf("%d bytes of a FAT read again at most", rereads*pieceBytes), err.Error())
		return
	}
	off := int64(-1)
	var re *ReadError
	if errors.As(err, &re) {
		off, err = re.Offset, re.Err
	}
	c.log.partial = true
	c.log.unread(c.log.partition, path, off, "chain", err)
}

// owner names what a cluster was claimed by. Past the faults that are kept
// nobody reads the name.
func (c *chains) owner(cluster uint32) string {
	if len(c.log.Faults) >= c.log.most {
		return "another"
	}
	if owns(&c.v.Root, cluster) {
		return `"/"`
	}
	for i := range c.v.Entries {
		if e := &c.v.Entries[i]; owns(e, cluster) {
			return fmt.Sprintf("%q", e.Path)
		}
	}
	return "another"
}

func owns(e *Entry, c uint32) bool {
	for _, r := range e.Chain {
		if c-r.First < r.Count {
			return true
		}
	}
	return false
}
