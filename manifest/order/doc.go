// Package order finds which releases a vessel's devices should end on and a
// safe order to install them in, or the reason why there is none. It is pure:
// the same vessel and catalogue give the same plan, and nothing is read or
// written. Work is bounded by counts; where a bound is reached it gives up and
// says so. Cards and their room are package media's. The rules are in doc.go.
package order

// # Steps
//
// A device can be given a release of its model when the release is newer than
// what the device runs (no step down), not withdrawn, and of the device's
// variant. Versions that compare as equal are one version, however they are
// written. An installed release that the catalogue doesn't know needs nothing.
//
// A step installs one release on one device. It is allowed when, in the state
// just before it:
//
//   - the device's own version is in the release's `over`;
//   - each `needs` with `by: start` is met: every device aboard of the model
//     it names (the device itself too, when it is of that model) runs a version
//     in its range; no such device aboard: met;
//   - a device with `through` has a host, any one of those it lists, that is in
//     service and whose version is in the release's `passed_on_by`. A device
//     without `through` takes the card itself, and `passed_on_by` says nothing;
//     it must be of a model with a card slot, and so must a host. A model's
//     `route` takes the place of its own slot: by cable, by the maker's program
//     and by the maker a step is always possible, with `none` never. Such steps
//     come from no card, and share one with all others.
//
// Several steps may lead to a device's last release (stepping stones).
//
// # The end
//
// When the visit ends:
//
//   - each `needs` with `by: end` of every release then installed is met, also
//     on devices that were not touched;
//   - each device's version is in its `hold`. The hold binds the end: a
//     stepping stone may lie below it, and from above it there is no way back;
//   - the devices of an `alike` model run one version;
//   - what was asked is met: see [Ask].
//
// # Out of service
//
// Between two steps a device can run a release whose `needs` with `by: end`
// isn't met yet, because some device B is not in the range. Then the needing
// device is out of service until B is; but where the needing device is one of
// those that B is updated through, it is B that is out: a host whose screen and
// slot work can be used to update what is connected behind it, and that is what
// `by: end` is for. A host that is out of service passes nothing on. A device
// that is out before the visit is out from step 1.
//
// # Preference
//
// A device is behind by the number of versions of its model, of its variant,
// not withdrawn, that are newer than the one it ends on. Of all ends that fit
// and that an order of allowed steps leads to, the newest is chosen: the least
// sum of releases behind, then the least sum over the chart displays, then
// device by device, in the order of the vessel's file, the fewest behind.
//
// Of all orders that lead there, the one with the fewest steps is chosen. Then
// safety comes before card swaps:
//
//   - the fewest pairs of a step without a way back before one that has a way back
//     (`way_back: true`; where the maker doesn't say, none is counted on): a failure
//     after the point of no return leaves a boat with releases that don't fit one
//     another, time out of service only costs minutes;
//   - then the fewest pairs of a step whose maker gives no way back
//     (`way_back: false`) before one whose maker doesn't say;
//   - then the least weighted time out of service: each step's minutes, for every
//     device that is out before it or after it, times the device's weight. An
//     autopilot computer and a heading sensor weigh 4; a position sensor, a chart
//     display, a radar and a sounder 3; a transponder and a radio 2; others 1. A
//     step whose minutes the catalogue doesn't say counts as 10 here;
//   - then the fewest card swaps.
//
// Last comes the order of the file. Of two orders, the one is chosen whose first
// differing step is on the device that comes earlier in the file, or on the same
// device installs the newer release, or installs the same release through the host
// that comes earlier in `through`.
//
// Card swaps are estimated, without the room on a card: going through the order, a
// swap is counted at each step whose package can't share a card with those of all
// the steps since the last swap. The card goes into the device itself, or into the
// host. Two steps can't share a card when
//
//   - no card suits both: 1.05 × `most` of one is less than 0.92 × `least` of
//     the other;
//   - one of the two wants its card `alone`, and the releases differ;
//   - both are of one model that installs `at_power_up` from its own slot, and
//     the releases differ;
//   - both are of one model, both cards' rules name the same fixed folder, or
//     one within the other, and the releases differ: the device may take the
//     newest that it finds there;
//   - both cards' rules name the same fixed folder, and a file of the same name
//     (by samename.Key) has another digest.
//
// # Conflicts
//
// A conflict is a set of facts, each with its place, that rule out every end.
// It is minimal: were any one of the facts struck, the others would not. To
// strike a fact is to plan as if
//
//   - need, over, passed on by, hold, alike: it asked for nothing;
//   - withdrawn: the release were not withdrawn;
//   - through, no slot: the device took a card itself (and could host), whatever
//     its route;
//   - installed: the device had been exchanged before the visit for another of
//     its model and variant, running any one version, even one that no release
//     has (it then needs nothing). A withdrawn release may run on it, but can't
//     be installed;
//   - catalogue: every version of the model that the catalogue doesn't have for
//     a device's variant could be installed on the device, over any version
//     before it, passed on by any host, needing nothing;
//   - asked: it had not been asked.
//
// What would free a conflict is drawn from its facts: a hold to lift, a device
// to exchange, a release to add, something asked to drop. That a need or
// another of the makers' rules be skipped is never proposed.
//
// # Around what is blocked
//
// Groups of connected devices for which there is no safe order, one of whose
// versions is unknown, or for which the search was given up, stay as they are, and
// the others are planned. Devices are connected where a release that one runs or
// could be given asks something of the other, where one is updated through the
// other, and where they must be alike; a device of unknown version could run any
// release. The plan is a part then, see Plan.LeftOut. Where nothing is to be done
// for the others there is a conflict, or an error.
//
// # A part for the time that there is
//
// Where minutes are asked for (Ask.Within), only ends count that are sure to be reached
// in them: the steps that would be planned for the end, their checks, and settings
// entered again. A step or check without minutes is never sure. A check under way
// counts once for all devices. Of these ends, all of which fit as an end of the visit
// must, the one is planned that leaves the fewest devices on withdrawn releases, then
// the fewest releases behind, then takes the fewest steps. What is left for another
// visit is in Plan.Later. At most 5,000 states of connected devices are searched;
// where there are more, there is a [GaveUp] error.
//
// # A way back
//
// Where it is asked for (Ask.Back), devices go back to older releases, from what they
// run now, and nothing newer is installed. A step back is allowed when, besides what
// the rules of a step ask, the release that the device runs leads back to the older
// one (manifest.Release.LeadsBackTo, which takes the place of `over`), and the
// catalogue has a package of it. A withdrawn release is none, unless that very one
// was asked for with why. The end must fit as that of any visit; a device that was
// asked for ends on an older release than it runs, or on the one that was named.
// Others go back too where they must. What isn't connected with such a device stays
// as it is, whether it fits or not.
//
// Of all ends the one is chosen that gives back the fewest releases, then the fewest
// on the chart displays, then device by device. Of its orders: the fewest steps; then
// the least time out of service; then the fewest swaps; then the order of the file,
// of steps on one device the one that leads further back first. A fact more can be in
// the way: `way back`; to strike it is to plan as if that release led back to every
// other, and nothing is struck that would change what is installed or published.
//
// Every step of a plan says whether its device gets back right after it (Step.Back),
// and Undo makes the way back of a whole plan of that: its steps from the last to the
// first, each taken back in the state that it left.
//
// # Where the work can stop
//
// After a step, with the checks so far made, the work can stop where nothing is
// out of service and devices that must be alike are: see Step.Stop.
//
// # Unknown versions
//
// A device whose version is unknown is to be read first: nothing is planned by
// guess. It is left out, with what is connected with it; a plan without steps then
// comes with an [Unread] error, so that nobody takes it for nothing to do. The plan
// lists the devices to read, and, for each combination of versions that the
// catalogue knows for them, the plan that follows (up to maxAnswers of them).
//
// # Method
//
// Devices that no need, host or likeness connects are planned apart. The ends
// that fit are found by branch and bound, newest first, with arc consistency;
// for each, the shortest order is found depth first over how far each device has
// got, with dead ends remembered. What keeps this short:
//
//   - A step that can't block any other is taken at once. Where
//     raising a device breaks nothing, that is every step, and there is no
//     search.
//   - What can't be reached even if being on one version didn't mean to have
//     left the others, can't be reached.
//   - An order that costs nothing but steps is found without a search. Where the
//     first one costs something, branch and bound searches for a cheaper one, with
//     what any two devices cost at least as the bound (lowerbounds.go).
//   - Any two devices by themselves have few states. What no order of the two leads
//     to is no end of the visit. And where what must come before what goes round in
//     a circle, over all pairs, there is no order.
//
// # Limits
//
// The work is bounded by counts, not by time, so that the answer doesn't depend
// on the machine: see standard in limits.go. Where a bound is reached there is a
// [GaveUp] error, or a note where only the preference between safe orders, or
// the smallness of a proof, is left open. On two cores of
// a 2026 server, 60 devices of 20 models with 8 releases each, with the rules
// that catalogues have, take 16 ms in the median, and one such vessel in 200 is
// given up on, after less than a second; 12 devices of 12 models with 6 releases
// and upper bounds on half of all rules take 2 ms, and one in 30 is given up on.
// BenchmarkGrowth prints the table in DEVELOPERS.md.
