package sheet

import (
	"slices"
	"strings"

	"cardwright/manifest"
)

// network tells who updates whom, in the order of the vessel file.
func network(w speech, in Input) *Network {
	n := &Network{Title: w.say("network"), Legend: w.say("network.legend")}
	for _, d := range in.Vessel.Devices {
		n.Nodes = append(n.Nodes, node(w, in, d))
	}
	return n
}

func node(w speech, in Input, d *manifest.Device) Node {
	n := Node{Device: name(d.ID), Model: in.modelName(d.Model), Host: -1}
	through, route := "", ""
	for _, s := range in.Plan.Steps {
		if s.Device == d.ID {
			n.Steps = append(n.Steps, s.Number)
			through, route = s.Through, s.Route
		}
	}
	for _, t := range d.Through {
		if t != through {
			n.Could = append(n.Could, name(t))
		}
	}
	if through != "" {
		n.Host = slices.IndexFunc(in.Vessel.Devices, func(o *manifest.Device) bool { return o.ID == through })
	}
	n.Words = nodeWords(w, n, name(through), route)
	return n
}

// nodeWords says in words what the picture shows.
func nodeWords(w speech, n Node, through, route string) string {
	if len(n.Steps) == 0 {
		return w.say("network.untouched")
	}
	steps := "network.step"
	if len(n.Steps) > 1 {
		steps = "network.steps"
	}
	words := []string{w.say(steps, "steps", w.numbers(n.Steps))}
	if route != "" {
		words = append(words, w.say("route."+route))
	} else if through == "" {
		words = append(words, w.say("network.alone"))
	} else {
		words = append(words, w.say("network.through", "device", through))
	}
	if len(n.Could) > 0 {
		words = append(words, w.say("network.could", "devices", strings.Join(n.Could, ", ")))
	}
	return strings.Join(words, "; ")
}

// below are the nodes that node i updates.
func (n Network) below(i int) []Node {
	var all []Node
	for _, node := range n.Nodes {
		if node.Host == i {
			all = append(all, node)
		}
	}
	return all
}

// passesOn reports whether any device updates another: else there is no picture to
// draw.
func (n Network) passesOn() bool {
	return slices.ContainsFunc(n.Nodes, func(node Node) bool { return node.Host >= 0 })
}
