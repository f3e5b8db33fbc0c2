// Package order finds which releases a vessel's devices should end on and a
// safe order to install them in, or the reason why there is none. It is pure:
// the same vessel and catalogue give the same plan, and nothing is read or
// written.
//
// # The rules
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
//     it names runs a version in its range (no such device aboard: met);
//   - a device with `through` has a host, any one of them, that is in service
//     and whose version is in the release's `passed_on_by`. A device without
//     `through` takes the card itself (`passed_on_by` says nothing then), and
//     so must be of a model with a card slot; the same goes for a host.
//
// Several steps may lead to a device's last release (stepping stones).
//
// When the visit ends:
//
//   - each `needs` with `by: end` of every release then installed is met,
//     also on devices that were not touched;
//   - each device's version is in its `hold`. The hold binds the end: a
//     stepping stone may lie below it, and above it there is no way back;
//   - the devices of an `alike` model run one version.
//
// # Out of service
//
// Between two steps a device can run a release whose `needs` with `by: end`
// isn't met yet, because some device B is not in the range. Then the needing
// device is out of service until B is; but where the needing device is one of
// the hosts that B is updated through, it is B that is out: a host whose screen
// and card slot work can be used to update what is connected behind it, and
// that is what `by: end` is for. A host that is out of service passes nothing
// on. A device that arrives so is out from step 1.
package order
