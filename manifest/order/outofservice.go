package order

// windows notes when devices are out of service.
type windows struct {
	*visit
	open  []int // for each device, 1 + its number in found while it is out
	found []OutOfService
}

func newWindows(v *visit) *windows {
	w := &windows{visit: v, open: make([]int, len(v.at))}
	w.look(0)
	return w
}

// look notes who is out, and who is again in service, after a step.
func (w *windows) look(step int) {
	for i := range w.at {
		if w.parts[w.at[i].part].leftOut {
			continue // it is as it was
		}
		out := w.out(i)
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

func (v *visit) out(device int) bool {
	k := v.parts[v.at[device].part]
	return k.p.outOfService(k.now, v.at[device].device)
}
