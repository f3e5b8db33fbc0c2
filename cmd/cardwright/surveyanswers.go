package main

import (
	"context"

	"cardwright/verify/ledger/record"
)

// answers takes what was found aboard into ledger and file.
func (v *surveying) answers(ctx context.Context) error {
	path := v.options.answers
	table, told, err := readAnswers(path, v.shop)
	if err != nil {
		return err
	}
	if told.latin1 {
		v.complain(readAsLatin1)
	}
	v.options.at, v.by = or(v.options.at, told.found), or(v.by, told.by)
	at, err := v.moment(ctx)
	if err != nil {
		return err
	}
	file, err := v.reopen()
	if err != nil {
		return err
	}
	if err := mistakesIn(path, record.SurveyMistakes(v.shop, v.vessel, table)); err != nil {
		return err
	}
	return v.save(ctx, file, record.SurveyFromTable(v.vessel, table, at, v.options.at != ""))
}
