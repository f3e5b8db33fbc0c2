package manifest

import (
	"reflect"
	"strings"
	"sync"

	"cardwright/manifest/version"
)

// field is what the loader and the schemas know about one key besides the Go
// type of its value.
type field struct {
	help    string   // for editors, and for messages about a missing key
	must    bool     // may not be left out
	words   []string // the closed list of words for it; nil: any text
	form    *form    // the form its text must have; nil: any
	usual   string   // what it is when left out
	digits  bool     // text that may look like a number: 00231, 1.10
	single  bool     // a list of one may go without brackets
	most    int      // of a count
	unknown bool     // the word unknown may be given for a version
}

// maxMinutes is the longest that one installation may take: a day.
const maxMinutes = 24 * 60

// fields has every key of the shop's files, by Go type and key.
var fields = map[string]field{
	"Shop.shop":     {must: true, help: "name of the shop, as printed on sheets"},
	"Shop.packages": {form: &folderHere, usual: "packages", help: "folder of package files, below the shop folder"},
	"Shop.ledger":   {form: &ledgerPlace, usual: "ledger.db", help: "file below the shop folder, or a postgres:// address"},
	"Shop.call":     {help: "whom to call when a step fails, and how"},
	"Shop.font":     {help: "TrueType font (.ttf, .ttc) for letters on PDF pages other than Latin, Greek and Cyrillic: a file below the shop folder, or a full path"},

	"Shop.trusts": {help: "whose signed records on cards are believed, this shop's own among them"},

	"Shop.checks": {help: "how long checks take, where a model doesn't say"},

	"Shop.day_hours": {most: 24, help: "hours of work in a day, for plan --all; left out: 8"},

	"Shop.sea_trial": {help: "the shop's own tolerances for sea trials; what is left out is as usual"},

	"SeaTrial.deviation": {digits: true, form: &tolerance, usual: "5", help: "degrees of deviation that are allowed on any heading"},
	"SeaTrial.alignment": {digits: true, form: &tolerance, usual: "3", help: "degrees that the alignment may be off"},
	"SeaTrial.helm":      {digits: true, form: &tolerance, usual: "2", help: "degrees of helm that may be carried"},
	"SeaTrial.course":    {digits: true, form: &tolerance, usual: "2", help: "degrees RMS that the heading may be off the course"},
	"SeaTrial.overshoot": {digits: true, form: &tolerance, usual: "20", help: "percent of a turn that the heading may swing past its new course"},
	"SeaTrial.by":        {must: true, help: "who sets them, such as a rule, the maker or the shop; the page shows it with each"},

	"Trust.shop":  {must: true, help: "the shop that signs with this key, as reports name it"},
	"Trust.key":   {must: true, form: &publicKey, help: "its public key: the line that cardwright key show prints"},
	"Trust.until": {help: "last day on which the key was the shop's, once it has left: events that had come into the ledger by then still count, cards that it signed are no longer believed: 2026-03-05"},

	"Model.model":     {must: true, form: &id, help: "id of the model, by which vessels and other models name it"},
	"Model.maker":     {must: true, help: "who makes it"},
	"Model.name":      {must: true, help: "the model's name, as the maker writes it"},
	"Model.kind":      {must: true, words: KindWords(), help: "what the device is"},
	"Model.card":      {help: "which cards the device reads; left out: it has no card slot"},
	"Model.route":     {words: Routes, help: "how it is updated where no card does it and no device passes it on: by cable, by the maker's program on the shop's laptop, by the maker only, or none: not at all; left out: by a card in its own slot"},
	"Model.passes_on": {form: &id, help: "ids of models that it can update over the network"},
	"Model.releases":  {help: "the releases of its software"},
	"Model.alike":     {help: "true: all devices of this model on one vessel end on one version"},

	"Model.on_network":   {digits: true, help: "model IDs under which it announces itself on the boat's network, as a survey shows them"},
	"Model.version_from": {form: &versionPattern, help: "pattern (RE2) whose one group is the version, where the text that it announces has more in it"},
	"Model.signing_key":  {form: &publicKey, help: "the maker's public key, with which its packages are signed (minisign)"},

	"Model.downloads": {help: "where the maker publishes its packages: an address, or directions in words"},

	"Model.past_keys": {help: "keys of the maker's that signing_key was before"},
	"PastKey.key":     {must: true, form: &publicKey, help: "the key"},
	"PastKey.until":   {must: true, help: "day on which another took its place: 2026-03-05"},
	"PastKey.why":     {must: true, help: "why it did"},

	"Model.opens_archives": {help: "true: it takes a package as the archive in which it was published, and opens it itself"},
	"Model.history":        {help: "files of its releases that were replaced or taken out"},

	"Past.version": {must: true, digits: true, help: "version of the release that had the file"},
	"Past.variant": {digits: true, help: "its region or language"},
	"Past.file":    {must: true, help: "name of the file"},
	"Past.size":    {must: true, help: "its size in bytes: 412345678"},
	"Past.sha256":  {must: true, digits: true, form: &sha256Hex, help: "its SHA-256, by which cards that carry it are known"},
	"Past.until":   {must: true, help: "day on which it was replaced or taken out: 2026-03-05"},
	"Past.why":     {must: true, help: "why it was"},
	"Past.by":      {digits: true, form: &sha256Hex, help: "SHA-256 of the file that took its place; left out: none did"},

	"Model.version_shown": {help: "where the device shows its version, in the maker's words"},
	"Model.install":       {help: "how an update is started on its screen, in the maker's words"},
	"Model.restarts":      {help: "what restarts, and how long it is dark"},
	"Model.leave_alone":   {help: "what not to touch while an update runs"},
	"Model.checks":        {help: "how its checks are made and how long they take: the maker's steps and figures"},
	"Model.if_it_fails":   {help: "what the maker says to do when an update fails"},

	"Model.settings_minutes": {most: maxMinutes, help: "minutes that it takes to enter its settings again, where an update loses them"},

	"CheckText.check":   {must: true, words: Checks, help: "the check"},
	"CheckText.text":    {help: "how it is made on this model"},
	"CheckText.minutes": {most: maxMinutes, help: "minutes that it takes on this model"},

	"CheckTime.check":   {must: true, words: Checks, help: "the check"},
	"CheckTime.minutes": {must: true, most: maxMinutes, help: "minutes that it takes, with the way there and back"},

	"CardRules.least":        {must: true, help: "smallest card it reads, as printed on the card: 4GB"},
	"CardRules.most":         {must: true, help: "largest card it reads, as printed on the card: 32GB"},
	"CardRules.file_systems": {must: true, words: FileSystems, help: "file systems it reads"},
	"CardRules.slot":         {words: Slots, help: "what fits its slot"},
	"CardRules.folder":       {must: true, form: &cardFolder, help: "any: a folder chosen on its screen; or the path where it looks, such as / or /update"},
	"CardRules.at_power_up":  {help: "true: it installs by itself when powered up with a card in"},
	"CardRules.alone":        {help: "true: nothing else may be on the card"},

	"Release.version":       {must: true, digits: true, help: "version, as the device shows it"},
	"Release.released":      {must: true, help: "day of release: 2026-03-02"},
	"Release.files":         {help: "the files that go on the card"},
	"Release.touch":         {form: &fileName, single: true, help: "the file, of several, that a person touches on the device's screen, as named on the card; left out: any of them"},
	"Release.variant":       {digits: true, help: "region or language; must equal the device's variant"},
	"Release.over":          {digits: true, help: `what the device must run before this: ">= 3.0"`},
	"Release.needs":         {help: "what other models aboard must run"},
	"Release.passed_on_by":  {digits: true, help: "for a device updated through another: what that one must run"},
	"Release.minutes":       {most: maxMinutes, help: "minutes that the installation takes"},
	"Release.way_back":      {help: "true: the maker gives a way back to an older release; false: he gives none; left out: not said"},
	"Release.back_to":       {digits: true, help: `the older releases that the way back leads to: ">= 3.5"; left out: those whose over has this one`},
	"Release.back_settings": {words: []string{SettingsKept, SettingsLost}, help: "what going back from this release does to the device's settings; left out: not said"},
	"Release.settings":      {words: []string{SettingsKept, SettingsLost}, help: "what becomes of the device's settings; left out: not said"},
	"Release.after":         {words: Checks, help: "checks to redo after the update"},
	"Release.withdrawn":     {help: "why the maker withdrew it; such a release is never chosen"},
	"Release.notes":         {help: "anything worth knowing before installing it"},

	"File.name":    {must: true, form: &fileName, help: "name on the card, with / between folders"},
	"File.size":    {must: true, help: "size in bytes: 412345678"},
	"File.sha256":  {must: true, digits: true, form: &sha256Hex, help: "SHA-256 of the file, 64 hex digits"},
	"File.unpack":  {words: []string{UnpackZip}, help: "zip: the device wants what is inside; left out: the file itself"},
	"File.members": {help: "the files inside a zip that is unpacked"},
	"File.trust":   {words: Trusts, help: "who vouches for the SHA-256: the maker, a second source, or ours: our own download alone; left out: not said"},
	"File.from":    {help: "where the file or its SHA-256 was got"},
	"File.added":   {help: "day on which the shop took it in: 2026-03-04"},

	"Member.name":   {must: true, form: &fileName, help: "name inside the archive and on the card, with / between folders"},
	"Member.size":   {must: true, help: "size in bytes, unpacked"},
	"Member.sha256": {must: true, digits: true, form: &sha256Hex, help: "SHA-256 of the unpacked file, 64 hex digits"},

	"Need.model":   {must: true, form: &id, help: "id of the other model"},
	"Need.version": {must: true, digits: true, help: `what it must run: ">= 1.8"`},
	"Need.by":      {words: []string{ByStart, ByEnd}, usual: ByEnd, help: "start: before this step; end: when the visit ends"},

	"Vessel.vessel":   {must: true, form: &id, help: "id of the vessel, by which commands name it"},
	"Vessel.name":     {must: true, help: "the vessel's name"},
	"Vessel.formerly": {form: &id, single: true, help: "ids that she had before, the last first: cards, sheets and the ledger still know her by them"},
	"Vessel.identity": {help: "what tells it from others of its name"},
	"Vessel.berth":    {digits: true, help: "where it lies"},
	"Vessel.supply":   {help: "its electrical supply: 12V"},
	"Vessel.folders":  {words: []string{FoldersByDevice, FoldersByModel}, usual: FoldersByDevice, help: "device: a folder on the card for each device; model: one for each model and version, to save room"},
	"Vessel.devices":  {must: true, help: "the equipment aboard"},

	"Identity.imo":  {digits: true, form: &imoNumber, help: "IMO number, 7 digits"},
	"Identity.mmsi": {digits: true, form: &mmsi, help: "MMSI, 9 digits"},
	"Identity.hull": {digits: true, help: "hull or registration number"},

	"Device.id":       {must: true, form: &id, help: "id of the device on this vessel"},
	"Device.model":    {must: true, form: &id, help: "id of its model, as in the catalogue"},
	"Device.serial":   {digits: true, help: "serial number"},
	"Device.place":    {help: "where aboard it is"},
	"Device.version":  {must: true, digits: true, unknown: true, help: "version that the device shows, or unknown"},
	"Device.variant":  {digits: true, help: "region or language of its software"},
	"Device.hold":     {digits: true, help: `a range that the customer wants kept: "< 5"`},
	"Device.hold_why": {help: "why it is held"},
	"Device.through":  {form: &id, single: true, help: "ids of devices aboard, any one of which can update this one"},
}

// FileSystems is the closed list of file systems that a device may read.
var FileSystems = []string{"fat32", "exfat", "fat16"}

// Slots is the closed list of what fits a device's slot.
var Slots = []string{"microSD", "SD", "CompactFlash", "USB"}

// UnpackZip is the one way in which a file may be unpacked.
const UnpackZip = "zip"

// KindWords are the kinds as texts.
func KindWords() []string {
	words := make([]string, len(Kinds))
	for i, k := range Kinds {
		words[i] = string(k)
	}
	return words
}

// key is one key of a mapping: where its value goes, and what is known of it.
type key struct {
	name  string
	index int // of the Go field
	field
}

// shapes has the keys of every type that is read from a file, in their order.
var shapes = sync.OnceValue(func() map[reflect.Type][]key { return allShapes(Shop{}, Model{}, Vessel{}) })

func allShapes(roots ...any) map[reflect.Type][]key {
	shapes := map[reflect.Type][]key{}
	for _, r := range roots {
		addShape(shapes, reflect.TypeOf(r))
	}
	return shapes
}

func addShape(shapes map[reflect.Type][]key, t reflect.Type) {
	if !isMapping(t) || shapes[t] != nil {
		return
	}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("yaml"), ",")
		if name == "" || name == "-" {
			continue
		}
		shapes[t] = append(shapes[t], key{name, i, fields[t.Name()+"."+name]})
		addShape(shapes, element(t.Field(i).Type))
	}
}

// element strips pointers and lists off a type.
func element(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice && t != rangeType {
		t = t.Elem()
	}
	return t
}

func isMapping(t reflect.Type) bool { return t.Kind() == reflect.Struct && t != dateType }

var (
	versionType = reflect.TypeFor[version.V]()
	rangeType   = reflect.TypeFor[version.Range]()
	sizeType    = reflect.TypeFor[Size]()
	dateType    = reflect.TypeFor[Date]()
)
