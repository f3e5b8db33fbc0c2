package order

// outages notes from which step to which devices are out of service.
type outages struct {
	*visit
	open  []int // for each device, 1 + its number in found while it is out
	found []OutOfService
}

// after notes which devices are out of service after a step, and which are back.
func (w *outages) after(step int) {
	for i := range w.places {
		if w.groups[w.places[i].group].leftOut {
			continue // it is as it was
		}
		out := w.outOfService(i)
		switch {
		case out && w.open[i] == 0:
			w.found = append(w.found, OutOfService{Device: w.vessel.Devices[i].ID, FromStep: max(step, 1)})
			w.open[i] = len(w.found)
		case !out && w.open[i] > 0:
			w.found[w.open[i]-1].ToStep = step
			w.open[i] = 0
		}
	}
}

// outOfService reports whether a device is out of service now.
func (v *visit) outOfService(device int) bool {
	g := v.groups[v.places[device].group]
	return g.p.outOfService(g.now, v.places[device].device)
}
