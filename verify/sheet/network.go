package sheet

import (
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
)

// network tells who updates whom, in the order of the vessel file.
func (m *maker) network() *Network {
	n := &Network{Title: m.say("network"), Legend: m.say("network.legend")}
	for _, d := range m.in.Vessel.Devices {
		n.Nodes = append(n.Nodes, m.node(d))
	}
	return n
}

func (m *maker) node(d *manifest.Device) Node {
	n := Node{Device: name(d.ID), Model: m.modelName(d.Model), Host: -1}
	through := ""
	for _, s := range m.in.Plan.Steps {
		if s.Device == d.ID {
			n.Steps = append(n.Steps, s.Number)
			through = s.Through
		}
	}
	for _, t := range d.Through {
		if t != through {
			n.Could = append(n.Could, name(t))
		}
	}
	if through != "" {
		n.Host = slices.IndexFunc(m.in.Vessel.Devices, func(o *manifest.Device) bool { return o.ID == through })
	}
	n.Words = m.nodeWords(n, name(through))
	return n
}

// nodeWords says in words what the picture shows.
func (m *maker) nodeWords(n Node, through string) string {
	if len(n.Steps) == 0 {
		return m.say("network.untouched")
	}
	steps := make([]string, len(n.Steps))
	for i, s := range n.Steps {
		steps[i] = strconv.Itoa(s)
	}
	words := []string{m.say("network.steps", "steps", strings.Join(steps, ", "))}
	if through == "" {
		words = append(words, m.say("network.alone"))
	} else {
		words = append(words, m.say("network.through", "device", through))
	}
	if len(n.Could) > 0 {
		words = append(words, m.say("network.could", "devices", strings.Join(n.Could, ", ")))
	}
	return strings.Join(words, "; ")
}

// Below are the nodes that node i updates.
func (n Network) Below(i int) []Node {
	var all []Node
	for _, node := range n.Nodes {
		if node.Host == i {
			all = append(all, node)
		}
	}
	return all
}
