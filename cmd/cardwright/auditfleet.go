package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

func newAuditFleetCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "fleet",
		Short: "Count devices by vessel: current, behind, unknown, withdrawn",
		Long: `fleet counts the devices of each vessel: how many are current, behind, unknown, or on
a withdrawn release.`,
		Example: `  cardwright audit fleet
  cardwright audit fleet --maker Fennick`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				fleet, err := audit.OfFleet(interruptible(cmd), l, shop.Models, f)
				if err != nil {
					return err
				}
				if err := learnFiles(interruptible(cmd), s, shop, l, &fleet); err != nil {
					return err
				}
				s.answer(fleet, func(w io.Writer) { writeFleetRows(w, fleet) })
				tellWhereFilesDiffer(s, shop)
				return nil
			})
		},
	}
}

func writeFleetRows(w io.Writer, fleet audit.Fleet) {
	var counts []string
	for _, status := range []audit.Status{audit.StatusWithdrawn, audit.StatusDisputed, audit.StatusUnknown, audit.StatusBehind, audit.StatusUnlisted, audit.StatusCurrent} {
		if n := fleet.Counts[status]; n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, status))
		}
	}
	if len(counts) == 0 {
		counts = []string{"none"}
	}
	fmt.Fprintf(w, "%s; devices: %s.\n", counted(len(fleet.Vessels), "vessel"), strings.Join(counts, ", "))
	writeLeftOut(w, fleet.LeftOut)
	if len(fleet.Vessels) == 0 {
		return
	}
	fmt.Fprintln(w)
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "vessel\tdevice\truns\tnewest\tstate")
	for _, row := range fleet.Vessels {
		for _, d := range row.Devices {
			fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n", row.Vessel.ID, d.ID, visible.Visible(string(d.Version)), d.Newest, d.Status)
		}
	}
	_ = table.Flush() // a broken pipe ends the process by itself
}
