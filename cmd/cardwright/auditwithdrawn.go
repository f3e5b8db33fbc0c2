package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

func newAuditWithdrawnCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "withdrawn",
		Short: "Withdrawn releases, and who must be called",
		Args:  exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfWithdrawn(interruptible(cmd), l, shop.Models, f)
				if err != nil {
					return err
				}
				s.answer(u, func(w io.Writer) {
					fmt.Fprintf(w, "%s withdrawn; %s.\n", counted(len(u.Releases), "release"), toCall(u))
					for _, r := range u.Releases {
						fmt.Fprintln(w)
						writeRelease(w, r)
					}
				})
				return nil
			})
		},
	}
}

// toCall says how many boats have a withdrawn release, or may have it.
func toCall(u audit.WithdrawnUse) string {
	if vessels := u.ToCall(); len(vessels) > 0 {
		return "call about " + counted(len(vessels), "vessel")
	}
	return "no vessel has one"
}
