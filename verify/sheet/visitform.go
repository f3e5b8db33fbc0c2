package sheet

// FormFormat is the version of the form's JSON before anything is filled in. The page
// makes it 3 where it says who agreed or who was informed.
const FormFormat = 2

// Form is what the sheet, filled in, brings back: the file that a visit is
// recorded from. Its texts are as the shop's files have them, not made safe to
// show. Package record has its JSON Schema and reads it; the page on a phone adds
// its own fields, so that it can be opened there again.
type Form struct {
	Format        int         `json:"format"`
	Vessel        string      `json:"vessel"`
	Plan          string      `json:"plan"` // the plan's id, 64 hex digits
	By            string      `json:"by"`   // the technician
	Steps         []FormStep  `json:"steps"`
	SettingsSaved string      `json:"settings_saved"` // where
	Checks        []FormCheck `json:"checks"`
}

// FormStep is one step as it went. Result is done, failed, put off, or "" while
// nobody has said.
type FormStep struct {
	Number  int    `json:"number"`
	Device  string `json:"device"`
	Before  string `json:"before"` // version read before the step
	After   string `json:"after"`  // version read after it
	Result  string `json:"result"`
	Minutes int    `json:"minutes"` // 0: not written down
	Note    string `json:"note"`
}

// FormCheck is one check as it went. Result is passed, failed, not done, or ""
// while nobody has said.
type FormCheck struct {
	Device string `json:"device"`
	Check  string `json:"check"`
	Result string `json:"result"`
	Value  string `json:"value"`
}

// form is the form as it is before anything was filled in.
func form(in Input) Form {
	f := Form{
		Format: FormFormat, Vessel: in.Vessel.ID, Plan: in.Plan.ID(), By: in.Technician,
		Steps: []FormStep{}, Checks: []FormCheck{},
	}
	for _, s := range in.Plan.Steps {
		f.Steps = append(f.Steps, FormStep{Number: s.Number, Device: s.Device})
	}
	for _, p := range places {
		for _, d := range toCheck(in, p.check) {
			f.Checks = append(f.Checks, FormCheck{Device: d.ID, Check: p.check})
		}
	}
	return f
}
