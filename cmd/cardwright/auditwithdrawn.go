package main

import (
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

func newAuditWithdrawnCommand(s *session, o *auditOptions) *cobra.Command {
	withContacts := false
	cmd := &cobra.Command{
		Use:   "withdrawn",
		Short: "List withdrawn releases, and whom to call",
		Long: `withdrawn lists the releases that their makers withdrew, the boats that run them or
have them on a card, and whom to call.`,
		Example: `  cardwright audit withdrawn`,
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfWithdrawn(interruptible(cmd), l, shop.Models, f)
				if err != nil {
					return err
				}
				call, err := callList(shop, u)
				if err != nil {
					return err
				}
				answer := withdrawnAnswer{WithdrawnUse: u}
				if withContacts {
					answer.Contacts = call
				}
				s.answer(answer, func(w io.Writer) {
					fmt.Fprintf(w, "%s withdrawn; %s.\n", counted(len(u.Releases), "release"), toCall(u))
					for _, r := range u.Releases {
						fmt.Fprintln(w)
						writeRelease(w, r)
					}
					writeCallList(w, shop, u, call)
				})
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&withContacts, "contacts", false, "add whom to call to the JSON")
	return cmd
}

// withdrawnAnswer is the answer in JSON; it has contacts only where they were
// asked for.
type withdrawnAnswer struct {
	audit.WithdrawnUse
	Contacts []contacts.Contact `json:"contacts,omitempty"`
}

// callList is whom to call about the boats with a withdrawn release.
func callList(shop *manifest.Shop, u audit.WithdrawnUse) (call []contacts.Contact, err error) {
	all, err := contacts.Load(shop.Dir)
	if err != nil {
		return nil, usage(err)
	}
	for _, id := range u.ToCall() {
		if c, ok := contacts.Of(all, append([]string{id}, u.Formerly(id)...)...); ok {
			c.Vessel = id
			call = append(call, c)
		}
	}
	return call, nil
}

func writeCallList(w io.Writer, shop *manifest.Shop, u audit.WithdrawnUse, call []contacts.Contact) {
	boats, gone := u.ToCall(), u.Gone()
	if len(boats) == 0 {
		return
	}
	fmt.Fprintln(w, "\nCall")
	for _, id := range boats {
		text := "no contact is noted: cardwright vessel contact " + id + " --phone NUMBER"
		c, ok := contacts.Of(call, id)
		switch {
		case ok:
			text = c.String()
		case slices.Contains(gone, id):
			text = "gone, and no longer served"
		case shop.Vessel(id) == nil:
			text = "no contact is noted, and this shop folder has no file of hers"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(id+": "+text), "    "))
	}
}

// toCall says how many boats have a withdrawn release, or may have it.
func toCall(u audit.WithdrawnUse) string {
	vessels, gone := u.ToCall(), u.Gone()
	if len(vessels) == 0 {
		return "no vessel has one"
	}
	text := "call about " + counted(len(vessels), "vessel")
	if n := len(slices.DeleteFunc(vessels, func(id string) bool { return !slices.Contains(gone, id) })); n > 0 {
		text += fmt.Sprintf(", %d of them gone", n)
	}
	return text
}
