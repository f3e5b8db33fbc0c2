package main

import "runtime/debug"

// What a laptop with little to spare should give for a card: 64 MB at most, of
// which the program's own text takes some 16. Beyond this much of its own
// memory the collector runs more often, however little processor it is given.
const cardMemory = 36 << 20

// keepMemory is called by commands that write and read cards, whose memory is
// buffers; those that answer from a large ledger may use more.
func keepMemory() { debug.SetMemoryLimit(cardMemory) }
