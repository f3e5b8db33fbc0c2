package record

import "fmt"

// Said is what to note, in lines as they are typed at a command line. A line that is ""
// isn't given.
type Said struct {
	Steps, Readings, Checks []string // see WrittenStep, WrittenReading, WrittenCheck
	RestOff                 string   // why all steps without an answer are put off
	SettingsSaved           string   // where
	ApprovedBy, Told        string   // initials or a role
}

// NotUnderstood says which line of a Said can't be read.
type NotUnderstood struct {
	What, Text string // step, read, check or work; the line
	Err        error
}

func (e *NotUnderstood) Error() string { return fmt.Sprintf("%s %s: %s", e.What, e.Text, e.Err) }
func (e *NotUnderstood) Unwrap() error { return e.Err }

// Fill writes the answers into a sheet, over what is there. The error is
// *NotUnderstood.
func (j *Job) Fill(f *Filled, said Said) error {
	for field, text := range map[*string]string{&f.SettingsSaved: said.SettingsSaved, &f.ApprovedBy: said.ApprovedBy, &f.Told: said.Told} {
		if text != "" {
			*field = text
		}
	}
	for _, text := range said.Steps {
		step, err := j.WrittenStep(text)
		if err != nil {
			return &NotUnderstood{"step", text, err}
		}
		f.Steps = append(f.Steps, step)
	}
	if said.RestOff != "" {
		j.PutOffRest(f, said.RestOff)
	}
	for _, text := range said.Readings {
		reading, err := WrittenReading(text)
		if err != nil {
			return &NotUnderstood{"read", text, err}
		}
		f.Checks = append(f.Checks, reading)
	}
	for _, text := range said.Checks {
		check, err := WrittenCheck(text)
		if err != nil {
			return &NotUnderstood{"check", text, err}
		}
		f.Checks = append(f.Checks, check)
	}
	return nil
}
