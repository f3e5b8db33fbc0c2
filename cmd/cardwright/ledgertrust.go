package main

import (
	"encoding/hex"
	"time"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
)

// believed are the writers whom the shop trusts, each with the day until which;
// nil where it names none: then everybody counts.
func believed(shop *manifest.Shop) map[string]time.Time {
	if len(shop.Trusts) == 0 {
		return nil
	}
	writers := map[string]time.Time{}
	for _, t := range shop.Trusts {
		public, err := keys.PublicEd25519(t.Key)
		if err != nil {
			continue // its form was checked
		}
		until := time.Time{}
		if !t.Until.IsZero() {
			until = t.Until.End()
		}
		writers[ledger.Writer(public)] = until
	}
	return writers
}

// tellUntrusted says that what this laptop notes counts for nobody.
func tellUntrusted(t *terminal, shop *manifest.Shop, key *keys.Key) {
	if len(shop.Trusts) == 0 || key == nil {
		return
	}
	for _, trust := range shop.Trusts {
		if trust.Key == key.Public() {
			if trust.Left(time.Now()) {
				t.complain("by trusts: in shop.yaml this laptop's key left on " + trust.Until.Format(time.DateOnly) + ": what it notes counts in no answer")
			}
			return
		}
	}
	t.complain("this laptop's key isn't under trusts: in shop.yaml, so what it notes counts in no answer; add there what cardwright key show prints")
}

// knownWriters are the keys that shop.yaml trusts, as the ledger takes them.
func knownWriters(shop *manifest.Shop, own *keys.Key) map[string]string {
	known := map[string]string{}
	trusts := shop.Trusts
	if own != nil {
		trusts = append(trusts[:len(trusts):len(trusts)], &manifest.Trust{Shop: shop.Name, Key: own.Public()})
	}
	for _, t := range trusts {
		if public, err := keys.PublicEd25519(t.Key); err == nil { // its form was checked
			known[hex.EncodeToString(public)] = t.Shop
		}
	}
	return known
}
