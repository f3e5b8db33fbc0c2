package mediatest

import (
	"io"
	"sync"
)

// Cached is a cache in front of a card: what was written reads back as it was
// written, whatever the card made of it, until Forget.
func Cached(under Medium) Medium {
	return &cache{Medium: under, pages: map[int64]*page{}}
}

type cache struct {
	Medium
	mu    sync.Mutex
	pages map[int64]*page // that were written to, in full
}

func (c *cache) ReadAt(p []byte, off int64) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return inPieces(p, off, c.Bytes(), pageSize, func(part []byte, at int64) (int, error) {
		if pg := c.pages[at/pageSize]; pg != nil {
			return copy(part, pg[at%pageSize:]), nil
		}
		return c.Medium.ReadAt(part, at)
	})
}

func (c *cache) WriteAt(p []byte, off int64) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if n, err := inPieces(p, off, c.Bytes(), pageSize, c.keep); err != nil {
		return n, err
	}
	return c.Medium.WriteAt(p, off)
}

// keep writes within one page of the cache.
func (c *cache) keep(part []byte, at int64) (int, error) {
	number := at / pageSize
	if c.pages[number] == nil {
		pg := new(page)
		length := min(pageSize, c.Bytes()-number*pageSize)
		if _, err := c.Medium.ReadAt(pg[:length], number*pageSize); err != nil && err != io.EOF {
			return 0, err
		}
		c.pages[number] = pg
	}
	return copy(c.pages[number][at%pageSize:], part), nil
}

// Forget empties the cache.
func (c *cache) Forget() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	clear(c.pages)
	return c.Medium.Forget()
}
