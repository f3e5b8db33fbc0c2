package mediatest

// Event is one call of a card. Data is what is written, and only valid until
// the call returns.
type Event struct {
	What   What
	Offset int64
	Data   []byte
}

// What is a kind of call.
type What string

// The calls of a card.
const (
	Read   What = "read"
	Wrote  What = "write"
	Synced What = "sync"
	Forgot What = "forget"
)

// Watched reports every call to see before it is made.
func Watched(under Medium, see func(Event)) Medium {
	return &tap{
		Medium: under,
		read: func(p []byte, off int64) (int, error) {
			see(Event{What: Read, Offset: off})
			return under.ReadAt(p, off)
		},
		write: func(p []byte, off int64) (int, error) {
			see(Event{Wrote, off, p})
			return under.WriteAt(p, off)
		},
		sync: func() error {
			see(Event{What: Synced})
			return under.Sync()
		},
		forget: func() error {
			see(Event{What: Forgot})
			return under.Forget()
		},
	}
}
