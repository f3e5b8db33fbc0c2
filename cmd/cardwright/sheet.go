package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/natefinch/atomic"
	"github.com/spf13/cobra"

	"cardwright/verify/sheet"
)

type sheetOptions struct {
	output string
	ask    askOptions
}

func newSheetCommand(s *session) *cobra.Command {
	var o sheetOptions
	cmd := &cobra.Command{
		Use:   "sheet VESSEL",
		Short: "Print the install order as it is planned; no proof of any card",
		Long: `sheet prints the order in which a vessel's devices are updated, as it is
planned now. The install order of a card that was proven is written by
cardwright verify TARGET --for VESSEL --order FILE.`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSheet(interruptible(cmd), s, o, args[0])
		},
	}
	o.ask.addFlags(cmd)
	cmd.Flags().StringVarP(&o.output, "output", "o", "", "write to this file instead of standard output")
	return cmd
}

func runSheet(_ context.Context, s *session, o sheetOptions, id string) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	_, plan, err := planned(shop, vessel, o.ask)
	if err != nil {
		return err
	}
	made, err := sheet.Make(sheet.Input{Shop: shop, Vessel: vessel, Plan: plan, When: time.Now()})
	if err != nil {
		return err
	}
	switch {
	case s.json:
		s.writeJSON(made)
	case o.output != "":
		if err := atomic.WriteFile(o.output, strings.NewReader(sheet.Text(made))); err != nil {
			return fmt.Errorf("writing the sheet: %w", err)
		}
	default:
		fmt.Fprint(s.out, sheet.Text(made))
	}
	if plan.Conflict != nil {
		return &answered{exitNo}
	}
	return nil
}
