package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/verify/visible"
)

func newVesselContactCommand(s *session) *cobra.Command {
	var c contacts.Contact
	var forget bool
	cmd := &cobra.Command{
		Use:   "contact VESSEL",
		Short: "Say whom to call about a vessel, or forget it",
		Long: `contact writes into contacts.yaml in the shop folder whom to call about a vessel; audit
withdrawn shows it. Without a flag it shows the contact. It goes onto no card and
into no ledger, and into an export or a sync only with their --contacts.`,
		Example: `  cardwright vessel contact kittiwake --name skipper --phone '+44 1632 960123'`,
		Args:    exactly(1, "a vessel"),
		RunE: func(_ *cobra.Command, args []string) error {
			return runContact(s, args[0], c, forget)
		},
	}
	cmd.Flags().StringVar(&c.Name, "name", "", "`NAME` of the owner, skipper or agent")
	cmd.Flags().StringVar(&c.Phone, "phone", "", "phone `NUMBER`")
	cmd.Flags().StringVar(&c.Email, "email", "", "e-mail `ADDRESS`")
	cmd.Flags().BoolVar(&forget, "forget", false, "remove the contact")
	return cmd
}

func runContact(s *session, id string, c contacts.Contact, forget bool) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	list, err := contacts.Load(shop.Dir)
	if err != nil {
		return usage(err)
	}
	vessel, err := vesselCalled(shop, id)
	if _, there := contacts.Of(list, id); err != nil && there { // her file is gone, and whom to call is still there
		vessel, err = &manifest.Vessel{ID: id, Name: id}, nil
	}
	if err != nil {
		return err
	}
	ids := append([]string{vessel.ID}, vessel.Formerly...)
	given := c != contacts.Contact{}
	if given && forget {
		return usage(errors.New("--forget removes the contact: leave the other flags out"))
	}
	is, there := contacts.Of(list, ids...)
	if given {
		c.Vessel = vessel.ID
		c.Name, c.Phone, c.Email = or(c.Name, is.Name), or(c.Phone, is.Phone), or(c.Email, is.Email)
		if err := c.Problem(); err != nil {
			return usage(err)
		}
		is, there = c, true
	} else if forget {
		is, there = contacts.Contact{Vessel: vessel.ID}, false
		if _, err := contacts.Forget(shop.Dir, ids...); err != nil {
			return err
		}
	}
	if given {
		if _, err := contacts.Keep(shop.Dir, is); err != nil {
			return err
		}
	}
	s.answer(struct {
		Format int `json:"format"`
		contacts.Contact
	}{1, is}, func(w io.Writer) {
		if !there {
			fmt.Fprintf(w, "%s: no contact is noted.\n", visible.Visible(vessel.Name))
			return
		}
		fmt.Fprintf(w, "%s: %s\n", visible.Visible(vessel.Name), visible.Visible(is.String()))
	})
	return nil
}
