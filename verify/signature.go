package verify

import (
	"fmt"

	"cardwright/media"
	"cardwright/media/keys"
)

// signer is who signed the record on a card, as far as the caller's trusted
// keys go.
type signer struct {
	keys.Signer
	shop string // of a known one
}

// vouches reports whether what the card's record says is to be believed.
func (s signer) vouches() bool { return s.Signer == keys.Known }

func signerOf(card onCard, expected Expected) signer {
	var trusted []string
	for _, t := range expected.Trusts {
		trusted = append(trusted, t.Key)
	}
	found, i := keys.Check(card.own[media.RecordPath], card.own[media.SignaturePath], trusted)
	if found != keys.Known {
		return signer{Signer: found}
	}
	return signer{found, expected.Trusts[i].Shop}
}

// judgeSignature tells who made the card, as far as that can be known.
func judgeSignature(m matched, report func(Finding)) {
	f := m.card.files.at(media.SignaturePath)
	// an empty one can do no harm, and is none
	if f != nil && m.isOwn(f) && (f.dir || f.Size > 0) && !keys.InForm(m.card.own[media.SignaturePath]) {
		if f.SHA256 != "" || f.dir { // else it is reported as unreadable
			report(noSignature.at(f.Path, fmt.Sprintf("a signature in minisign's form, of at most %d bytes", keys.MaxSignature), inItsPlace(f)))
		}
		return
	}
	if m.card.files.at(media.RecordFolder) == nil || m.card.own[media.RecordPath] == nil {
		return
	}
	d, expected, found := unsigned, "", "no signature"
	switch m.signer.Signer {
	case keys.Known:
		d, found = signed, "signed by "+m.signer.shop
	case keys.Nobody:
		d, expected, found = signerUnknown, "a signature by a shop that shop.yaml trusts", "another signature"
	}
	if m.expected.Signed && !m.signer.vouches() {
		d = d.weighing(Stop)
	}
	report(d.at(media.SignaturePath, expected, found))
}

func inItsPlace(f *file) string {
	if f.dir {
		return "a folder"
	}
	return "something else, of " + media.Bytes(f.Size)
}
