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
func (s *session) examine(ctx context.Context, shop *manifest.Shop, o *packageOptions, path string) (intake.Found, error) {
	o.Path = path
	found, err := s.read(ctx, shop, o.Request)
	ask := s.asking(ctx, o.ask, false)
	if ask.in == nil {
		return found, err
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Unknown {
		if found, err = s.askWhat(ctx, shop, o, ask); err == nil {
			return found, nil
		}
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Archive != nil {
		found, err = s.askInside(ctx, shop, o, ask, r)
	}
	if r, ok := errors.AsType[*intake.Refused](err); ok && r.Doubt && !o.Despite {
		return s.askDespite(ctx, shop, o, ask, r)
	}
	return found, err
}

// askDespite asks whether a download that looks wrong is taken all the same.
func (s *session) askDespite(ctx context.Context, shop *manifest.Shop, o *packageOptions, ask *asking, r *intake.Refused) (intake.Found, error) {
	ask.say("%s looks like %s: %s", filepath.Base(o.Path), r.What, r.Found)
	despite, err := ask.yes("take it all the same?", false)
	if err != nil {
		return intake.Found{}, err
	}
	if !despite {
		return intake.Found{}, r
	}
	o.Despite = true
	return s.examine(ctx, shop, o, o.Path)
}

// askInside finds out what becomes of an archive, of which nobody has said yet
// that its device opens archives.
func (s *session) askInside(ctx context.Context, shop *manifest.Shop, o *packageOptions, ask *asking, r *intake.Refused) (intake.Found, error) {
	ask.say("%s is %s", filepath.Base(o.Path), r.Found)
	opens, err := ask.yes("does "+o.Model+" open such archives itself? (the maker's instructions say so)", false)
	if err != nil {
		return intake.Found{}, err
	}
	if opens {
		o.Opens = true
		return s.read(ctx, shop, o.Request)
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
		with := o.Request
		with.Member, with.Unpack = or(answer, r.Archive[0]), answer == all
		if with.Unpack {
			with.Member = ""
		}
		found, err := s.read(ctx, shop, with)
		if wrong, ok := errors.AsType[*intake.Refused](err); ok {
			ask.say("%s: found %s, expected %s", wrong.What, wrong.Found, wrong.Expected)
			continue
		}
		o.Request = with
		return found, err
	}
}

// askWhat asks which release a download is.
func (s *session) askWhat(ctx context.Context, shop *manifest.Shop, o *packageOptions, ask *asking) (found intake.Found, err error) {
	path := o.Path
	fmt.Fprintln(s.errs, wrapped(path+" is not known to the catalogue. Models there: "+strings.Join(modelIDs(shop), ", "), "  "))
	model, v := guess(shop, filepath.Base(path))
	if o.Model, err = ask.must("", "--model", "Device.model", model); err != nil {
		return found, err
	}
	text, err := ask.must("", "--version", "Release.version", v)
	if err != nil {
		return found, err
	}
	o.Version, _ = version.Parse(text) // must has checked it
	return s.read(ctx, shop, o.Request)
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
func (s *session) askMissing(ctx context.Context, shop *manifest.Shop, o *packageOptions, found intake.Found) error {
	if found.Known != nil {
		return nil
	}
	release := found.Model.Release(found.Version, found.Variant)
	if release == nil {
		if err := s.askRelease(ctx, shop, o, found); err != nil {
			return err
		}
	}
	return s.askTouch(ctx, o, release, found)
}

// askTouch asks which of a release's files a person touches on the device, where
// there are several.
func (s *session) askTouch(ctx context.Context, o *packageOptions, release *manifest.Release, found intake.Found) error {
	names := found.OnCard()
	if release != nil {
		for _, f := range release.Files {
			if f != found.Instead {
				names = append(names, f.OnCard()...)
			}
		}
	}
	for _, t := range o.touch {
		if !slices.Contains(names, t) {
			return usage(fmt.Errorf("--touch %q: no such file in the release, which has %s%s", t, strings.Join(names, ", "), tryIt(manifest.Nearest(t, names))))
		}
	}
	ask := s.asking(ctx, o.ask, o.released != "")
	if len(names) < 2 || len(o.touch) > 0 || release != nil && len(release.Touch) > 0 || ask.in == nil {
		return nil
	}
	for {
		answer, err := ask.line("which of "+strings.Join(names, ", ")+" does a person touch on the device?", anyOfThem)
		if err != nil || answer == "" || answer == anyOfThem {
			return err
		}
		if slices.Contains(names, answer) {
			o.touch = []string{answer}
			return nil
		}
		ask.say("found %q, expected one of them%s", answer, tryIt(manifest.Nearest(answer, names)))
	}
}

// anyOfThem is the answer of who doesn't know.
const anyOfThem = "any"

// askRelease asks what the maker says of a release, where no flag says it.
func (s *session) askRelease(ctx context.Context, shop *manifest.Shop, o *packageOptions, found intake.Found) (err error) {
	ask := s.asking(ctx, o.ask, o.released != "")
	if ask.in == nil {
		if o.released == "" {
			return usage(fmt.Errorf("%s %s is new to the catalogue: say with --released on which day it was released", found.Model.ID, found.Version))
		}
		return nil
	}
	if o.released, err = ask.must(o.released, "--released", "Release.released", ""); err != nil {
		return err
	}
	if o.over, err = ask.value(o.over, "--over", "Release.over", ""); err != nil {
		return err
	}
	if len(o.needs) == 0 {
		if o.needs, err = ask.needs(shop); err != nil {
			return err
		}
	}
	o.minutes, err = ask.value(o.minutes, "--minutes", "Release.minutes", "")
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
			err = fmt.Errorf("no model %q in the catalogue%s", need.Model, tryIt(manifest.Nearest(need.Model, modelIDs(shop))))
		}
		if err != nil {
			a.say("%v", err)
			continue
		}
		all = append(all, text)
	}
}
