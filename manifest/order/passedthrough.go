package order

// Where a step's package comes from: a host's number in hosts, or one of these.
const (
	itself  = -1
	nowhere = -2
)

// allowed is how device i can be put on option to in this state: through the first
// host, in the order of `through` in the vessel's file, that can pass it on; itself; or
// nowhere.
func (p *problem) allowed(s state, i, to int) int {
	d := &p.devices[i]
	switch {
	case d.exchanged && s[i] == 0:
		return p.exchangeInOrder(s, i, to)
	case to <= s[i] || !d.options[to].over.has(s[i]) || p.exchangePending(s) || !s.met(d.options[to].start):
		return nowhere
	case d.hosts == nil && d.direct:
		return itself
	}
	return p.host(s, i, to, 0)
}

// host is the first host, from the k-th on, that can pass the option on.
func (p *problem) host(s state, i, to, k int) int {
	d := &p.devices[i]
	for ; k < len(d.hosts); k++ {
		h := d.hosts[k]
		if p.devices[h].slot && d.options[to].passed[k].has(s[h]) && !p.outOfService(s, h) {
			return k
		}
	}
	return nowhere
}
