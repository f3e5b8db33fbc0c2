package verify

import (
	"fmt"

	"cardwright/media"
	"cardwright/media/keys"
)

// signer tells who signed the record on the card, as far as the caller's
// trusted keys go: the shop's name where it is known.
func (j *judging) signer() (keys.Signer, string) {
	record, signature := j.own[media.RecordPath], j.own[media.SignaturePath]
	var trusted []string
	if j.expected != nil {
		for _, t := range j.expected.Trusts {
			trusted = append(trusted, t.Key)
		}
	}
	signer, i := keys.Check(record, signature, trusted)
	if signer != keys.Known {
		return signer, ""
	}
	return signer, j.expected.Trusts[i].Shop
}

// signature tells who made the card, as far as that can be known.
func (j *judging) signature() {
	// an empty one can do no harm, and is none
	if e, ok := j.at(media.SignaturePath); ok && j.isOwn(e) && (e.dir || e.size > 0) && !keys.InForm(j.own[media.SignaturePath]) {
		if _, read := j.digests[e.path]; read || e.dir { // else it is told as unreadable
			j.noSignature(e)
		}
		return
	}
	if !j.hasOwn() || j.own[media.RecordPath] == nil {
		return
	}
	signer, shop := j.signer()
	f := Finding{Path: media.SignaturePath, Severity: Warn}
	switch signer {
	case keys.Known:
		f.Kind, f.Severity, f.Found = Signed, Note, "signed by "+shop
		f.Meaning = "The record is theirs, unaltered."
	case keys.Nobody:
		f.Kind, f.Expected, f.Found = SignerUnknown, "a signature by a shop that shop.yaml trusts", "another signature"
		f.Meaning = "The record was altered, or somebody made it who isn't known here."
		f.Advice = "Believe the files as far as they were compared, and nothing that the record says of who made the card."
	default:
		f.Kind, f.Severity, f.Found = Unsigned, Note, "no signature"
		f.Meaning = "Anybody could have written the record."
	}
	if j.mustBeSigned() && signer != keys.Known {
		f.Severity = Stop
	}
	j.report.add(f)
}

// noSignature tells of something in a signature's place that can be none.
func (j *judging) noSignature(e file) {
	f := Finding{
		Kind: SignerUnknown, Severity: Stop, Path: e.path, Expected: fmt.Sprintf("a signature in minisign's form, of at most %d bytes", keys.MaxSignature), Found: "something else, of " + media.Bytes(e.size),
		Meaning: "No signature is like that: it was altered, or somebody put it there.", Advice: "Use a card that holds only what was prepared.",
	}
	if e.dir {
		f.Found = "a folder"
	}
	j.report.add(f)
}

func (j *judging) mustBeSigned() bool { return j.expected != nil && j.expected.Signed }

// vouched tells whether what the card's record says is the expectation.
func (j *judging) vouched() bool {
	signer, _ := j.signer()
	return signer == keys.Known
}
