package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
	"cardwright/manifest/version"
	"cardwright/media/intake"
)

// examine finds out what a download is, and asks a person where the catalogue
// doesn't know.
func (t *takingIn) examine(ctx context.Context) (intake.Found, error) {
	found, err := t.read(ctx, t.o.Request)
	ask := t.session.asking(ctx, t.o.ask, false)
	if ask.in == nil {
		return found, err
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Unknown {
		if found, err = t.askWhat(ctx, ask); err == nil {
			return found, nil
		}
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Archive != nil {
		found, err = t.askInside(ctx, ask, r)
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Doubt && !t.o.Despite {
		return t.askDespite(ctx, ask, r)
	}
	return found, err
}

// askDespite asks whether a download that looks wrong is taken all the same.
func (t *takingIn) askDespite(ctx context.Context, ask *asking, r *intake.Refused) (intake.Found, error) {
	ask.say("%s looks like %s: %s", filepath.Base(t.o.Path), r.What, r.Found)
	despite, err := ask.yes("take it all the same?", false)
	if err != nil {
		return intake.Found{}, err
	}
	if !despite {
		return intake.Found{}, r
	}
	t.o.Despite = true
	return t.examine(ctx)
}

// askInside finds out what becomes of an archive, of which nobody has said yet
// that its device opens archives.
func (t *takingIn) askInside(ctx context.Context, ask *asking, r *intake.Refused) (intake.Found, error) {
	ask.say("%s is %s", filepath.Base(t.o.Path), r.Found)
	opens, err := ask.yes("does "+t.o.Model+" open such archives itself? (the maker's instructions say so)", false)
	if err != nil {
		return intake.Found{}, err
	}
	if opens {
		t.o.Opens = true
		return t.read(ctx, t.o.Request)
	}
	if len(r.Archive) == 0 {
		return intake.Found{}, r
	}
	const all = "all"
	for {
		answer, err := ask.line("which file inside is the package? its name, or "+all+" where the device wants what is inside", r.Archive[0])
		if err != nil {
			return intake.Found{}, err
		}
		with := t.o.Request
		with.Member, with.Unpack = or(answer, r.Archive[0]), answer == all
		if with.Unpack {
			with.Member = ""
		}
		found, err := t.read(ctx, with)
		if wrong, ok := errors.AsType[*intake.Refused](err); ok {
			ask.say("%s: found %s, expected %s", wrong.What, wrong.Found, wrong.Expected)
			continue
		}
		t.o.Request = with
		return found, err
	}
}

// askWhat asks which release a download is.
func (t *takingIn) askWhat(ctx context.Context, ask *asking) (found intake.Found, err error) {
	fmt.Fprintln(t.session.errs, wrapped(t.o.Path+" is not in the catalogue. Models there: "+strings.Join(t.shop.ModelIDs(), ", "), "  "))
	model, v := guess(t.shop, filepath.Base(t.o.Path))
	if t.o.Model, err = ask.must("", "--model", "Device.model", model); err != nil {
		return found, err
	}
	text, err := ask.must("", "--version", "Release.version", v)
	if err != nil {
		return found, err
	}
	t.o.Version, _ = version.Parse(text) // must has checked it
	return t.read(ctx, t.o.Request)
}

var (
	notWord    = pattern.Of(`[^a-z0-9]+`)
	versionish = pattern.Of(`[0-9]+(\.[0-9]+)+([-~+][0-9a-z]+)?`)
)

// guess finds in a download's name the model and the version that it may be
// for, to be offered to a person and never taken without their word.
func guess(shop *manifest.Shop, name string) (model, v string) {
	name = strings.ToLower(name)
	v = versionish.FindString(strings.TrimSuffix(name, filepath.Ext(name)))
	plain, longest := notWord.ReplaceAllString(name, ""), 0
	for _, m := range shop.Models {
		_, tail, ok := strings.Cut(m.ID, "-")
		tail = strings.ReplaceAll(tail, "-", "")
		if ok && len(tail) > longest && strings.Contains(plain, tail) {
			model, longest = m.ID, len(tail)
		}
	}
	return model, v
}

// askMissing asks what the catalogue has to be told and nobody has said yet.
func (t *takingIn) askMissing(ctx context.Context, found intake.Found) error {
	if found.Known != nil {
		return nil
	}
	release := found.Model.Release(found.Version, found.Variant)
	if release == nil {
		if err := t.askRelease(ctx, found); err != nil {
			return err
		}
	}
	return t.askTouch(ctx, release, found)
}

// askTouch asks which of a release's files a person touches on the device, where
// there are several.
func (t *takingIn) askTouch(ctx context.Context, release *manifest.Release, found intake.Found) error {
	names := found.OnCard()
	if release != nil {
		for _, f := range release.Files {
			if f != found.Instead {
				names = append(names, f.OnCard()...)
			}
		}
	}
	for _, touch := range t.o.touch {
		if !slices.Contains(names, touch) {
			return usage(fmt.Errorf("--touch %q: no such file in the release, which has %s%s", touch, strings.Join(names, ", "), tryIt(manifest.Nearest(touch, names))))
		}
	}
	ask := t.session.asking(ctx, t.o.ask, t.o.released != "")
	if len(names) < 2 || len(t.o.touch) > 0 || release != nil && len(release.Touch) > 0 || ask.in == nil {
		return nil
	}
	for {
		answer, err := ask.line("which of "+strings.Join(names, ", ")+" does a person touch on the device?", anyOfThem)
		if err != nil || answer == "" || answer == anyOfThem {
			return err
		}
		if slices.Contains(names, answer) {
			t.o.touch = []string{answer}
			return nil
		}
		ask.say("found %q, expected one of them%s", answer, tryIt(manifest.Nearest(answer, names)))
	}
}

// anyOfThem is the answer of who doesn't know.
const anyOfThem = "any"

// askRelease asks what the maker says of a release, where no flag says it.
func (t *takingIn) askRelease(ctx context.Context, found intake.Found) (err error) {
	ask := t.session.asking(ctx, t.o.ask, t.o.released != "")
	if ask.in == nil {
		if t.o.released == "" {
			return usage(fmt.Errorf("%s %s is new to the catalogue: say with --released on which day it was released", found.Model.ID, found.Version))
		}
		return nil
	}
	if t.o.released, err = ask.must(t.o.released, "--released", "Release.released", ""); err != nil {
		return err
	}
	if t.o.over, err = ask.value(t.o.over, "--over", "Release.over", ""); err != nil {
		return err
	}
	if len(t.o.needs) == 0 {
		if t.o.needs, err = ask.needs(t.shop); err != nil {
			return err
		}
	}
	t.o.minutes, err = ask.value(t.o.minutes, "--minutes", "Release.minutes", "")
	return err
}

// needs asks for demands on other models, one after the other.
func (a *asking) needs(shop *manifest.Shop) (all []string, err error) {
	for {
		text, err := a.line(manifest.Help("Release.needs")+`, such as "`+shop.Models[len(shop.Models)-1].ID+` >= 1.8"`, "no more")
		if err != nil || text == "" || text == "no more" {
			return all, err
		}
		text = strings.Trim(text, `"`)
		need, err := parseNeed(text)
		if err == nil && shop.Model(need.Model) == nil {
			err = fmt.Errorf("no model %q in the catalogue%s", need.Model, tryIt(manifest.Nearest(need.Model, shop.ModelIDs())))
		}
		if err != nil {
			a.say("%v", err)
			continue
		}
		all = append(all, text)
	}
}
