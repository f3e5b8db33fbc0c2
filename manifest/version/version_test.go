package version

import (
	"fmt"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	debian "pault.ag/go/debian/version"
	"pgregory.net/rapid"
)

// Pairs run through dpkg 1.21, whose order Debian Policy 4.6.2 §5.6.12 gives;
// the first four are the policy's own row (~~, ~~a, ~, nothing, a), after 1.0.
var dpkgPairs = []struct {
	a    V
	want int
	b    V
}{
	{"1.0~~", -1, "1.0~~a"},
	{"1.0~~a", -1, "1.0~"},
	{"1.0~", -1, "1.0"},
	{"1.0", -1, "1.0a"},
	{"1.0~beta1~svn1245", -1, "1.0~beta1"},
	{"1.0~beta1", -1, "1.0"},
	{"4.9", -1, "4.10"},
	{"1.01", 0, "1.1"},
	{"4.3", -1, "4.3.0"},
	{"1.0", 0, "1.0-0"},
	{"1:0.9", +1, "2.0"},
	{"1.0a", -1, "1.0+"},
	{"1.2a", -1, "1.2.1"},
	{"4.3-rc1", +1, "4.3"},
	{"4.3~rc1", -1, "4.3"},
	{"4.0-12", +1, "4.0-9"},
}

func TestCompare(t *testing.T) {
	for _, p := range dpkgPairs {
		assert.Equal(t, p.want, Compare(p.a, p.b), "%s against %s", p.a, p.b)
		assert.Equal(t, -p.want, Compare(p.b, p.a), "%s against %s", p.b, p.a)
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]V{
		"4.10": "4.10", "v4.10": "4.10", "V4.10": "4.10", "1:2.0-3": "1:2.0-3", "0": "0", "4.0-12-1": "4.0-12-1", "1:2:3": "1:2:3",
		strings.Repeat("1", MaxLength): V(strings.Repeat("1", MaxLength)),
	} {
		got, err := Parse(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
	}
	for text, says := range map[string]string{
		"": "empty version", "v": "does not begin with a digit", "vv4": "does not begin with a digit", "x1": "does not begin with a digit",
		"unknown": "does not begin with a digit", "-1": "does not begin with a digit", ":1": "before the colon", "a:1": "before the colon",
		"1234567890:1": "up to 9 digits", "1:": "does not begin with a digit", "4.3-": "ends in a hyphen", "4.3_1": "'_'", "4 3": "' '",
		"4.3-1_2": "'_'", "4.3\x1b": `'\x1b'`, "4.3é": "", " 4.3": "does not begin with a digit", "4.3\n": `'\n'`,
		strings.Repeat("1", MaxLength+1): "65 characters",
	} {
		_, err := Parse(text)
		require.Error(t, err, text)
		assert.ErrorContains(t, err, says)
		assert.NotContains(t, err.Error(), "\x1b", "an error can do nothing to a terminal")
	}
}

// pieces are what the generated versions are put together from: few enough
// that pairs often differ in one place only.
var pieces = []string{"0", "00", "1", "01", "9", "10", "12", "a", "b", "Z", "rc", "~", "~~", "+", ".", "..", "-", "-1", ":"}

// someVersion makes a version of a few pieces.
func someVersion(r *rand.Rand) V {
	for {
		var b strings.Builder
		if r.IntN(6) == 0 {
			fmt.Fprintf(&b, "%d:", r.IntN(3))
		}
		fmt.Fprint(&b, r.IntN(3))
		for range r.IntN(7) {
			b.WriteString(pieces[r.IntN(len(pieces))])
		}
		if v, err := Parse(b.String()); err == nil {
			return v
		}
	}
}

// nearby makes a version that differs from v in one place.
func nearby(r *rand.Rand, v V) V {
	for range 20 {
		i := r.IntN(len(v) + 1)
		j := min(i+r.IntN(2), len(v))
		if near, err := Parse(string(v[:i]) + pieces[r.IntN(len(pieces))] + string(v[j:])); err == nil {
			return near
		}
	}
	return v
}

// TestCompareAgainstDpkg has dpkg judge our order. A sorted row of versions
// in which dpkg agrees about each two neighbours settles every pair of the
// row, some 45,000, since dpkg's order is a total one; pairs that differ in
// one place are put to it one by one.
func TestCompareAgainstDpkg(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 10))
	row := make([]V, 300)
	for i := range row {
		row[i] = someVersion(r)
	}
	slices.SortFunc(row, Compare)
	var claims []claim
	for i := 1; i < len(row); i++ {
		claims = append(claims, claimOf(row[i-1], row[i]))
	}
	for range 300 {
		v := someVersion(r)
		claims = append(claims, claimOf(v, nearby(r, v)))
	}
	wrong := claim{"4.10", "lt", "4.9"} // so that a judge who never objects is found out
	assert.Equal(t, []string{wrong.String() + "\n"}, deniedByDpkg(t, append(claims, wrong)))
}

// claim is what we say of two versions, in dpkg's words.
type claim struct {
	a  V
	op string
	b  V
}

func claimOf(a, b V) claim { return claim{a, [...]string{"lt", "eq", "gt"}[Compare(a, b)+1], b} }

func (c claim) String() string { return fmt.Sprintf("%s %s %s", c.a, c.op, c.b) }

// deniedByDpkg returns the claims that dpkg says are false.
func deniedByDpkg(t *testing.T, claims []claim) []string {
	t.Helper()
	var in strings.Builder
	for _, c := range claims {
		fmt.Fprintln(&in, c)
	}
	return shell(t, `while read -r a op b; do dpkg --compare-versions "$a" "$op" "$b" || echo "$a $op $b"; done`, in.String())
}

// shell runs a loop over lines in one shell and returns the lines it prints.
func shell(t *testing.T, script, in string) []string {
	t.Helper()
	_, err := exec.LookPath("dpkg")
	require.NoError(t, err, "dpkg judges the order of versions: install it")
	cmd := exec.Command("sh", "-c", script)
	cmd.Env = []string{"LC_ALL=C", "PATH=/usr/sbin:/usr/bin:/sbin:/bin"}
	cmd.Stdin = strings.NewReader(in)
	out, err := cmd.Output()
	require.NoError(t, err)
	return slices.Collect(strings.Lines(string(out)))
}

// TestCompareAgainstLibrary has pault.ag/go/debian, a library of its own
// descent, judge many more pairs than dpkg can be asked about.
func TestCompareAgainstLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 20_000 {
		a := someVersion(r)
		b := nearby(r, a)
		da, err := debian.Parse(string(a))
		require.NoError(t, err, a)
		db, err := debian.Parse(string(b))
		require.NoError(t, err, b)
		require.Equal(t, sign(debian.Compare(da, db)), Compare(a, b), "%s against %s", a, b)
	}
}

// TestParseAgainstDpkg has dpkg judge which texts are versions. Two of our
// rules are our own: a leading v is dropped before anything else (dpkg
// refuses v4.3), and epochs have at most 9 digits.
func TestParseAgainstDpkg(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	texts := []string{"4.3", "4.3-", "-4.3", "a4", "4.3_1", "4.3-1_2", "1:4", "1:", ":4", "a:4", "4:3:2", "1:2:3", "4.3:2", "~1", "4~", "4-~", "4--1", "1:-1", "unknown"}
	for range 150 {
		var b strings.Builder
		for range 1 + r.IntN(5) {
			b.WriteString(append(pieces, "_", "!", "v", "-")[r.IntN(len(pieces)+4)])
		}
		texts = append(texts, strings.TrimLeft(b.String(), "v"))
	}
	script := `while read -r v; do if dpkg --validate-version -- "$v" 2>/dev/null; then echo "$v"; fi; done`
	valid := shell(t, script, strings.Join(texts, "\n")+"\n")
	var ours []string
	for _, s := range texts {
		if _, err := Parse(s); err == nil {
			ours = append(ours, s+"\n")
		}
	}
	assert.Equal(t, valid, ours)
	assert.Empty(t, shell(t, script, "v4.3\n"), "dpkg refuses a leading v, which we drop")
}

func version() *rapid.Generator[V] {
	return rapid.Custom(func(t *rapid.T) V {
		return someVersion(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "a"), rapid.Uint64().Draw(t, "b"))))
	})
}

func TestCompareIsATotalOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := version().Draw(t, "a"), version().Draw(t, "b"), version().Draw(t, "c")
		assert.Zero(t, Compare(a, a))
		assert.Equal(t, -Compare(b, a), Compare(a, b), "antisymmetry")
		if Compare(a, b) <= 0 && Compare(b, c) <= 0 {
			assert.LessOrEqual(t, Compare(a, c), 0, "transitivity")
		}
		if Compare(a, b) == 0 {
			assert.Equal(t, Compare(a, c), Compare(b, c), "equal versions order alike")
		}
	})
}

// FuzzParse: text that is accepted stays what it is when it is written and
// read again, equals itself, and orders with others.
func FuzzParse(f *testing.F) {
	for _, p := range dpkgPairs {
		f.Add(string(p.a), string(p.b))
	}
	f.Add("v4.3", "unknown")
	f.Add("1:2:3-4-5~", "999999999:0")
	f.Fuzz(func(t *testing.T, s, other string) {
		v, err := Parse(s)
		if err != nil {
			assert.Empty(t, v)
			return
		}
		again, err := Parse(string(v))
		require.NoError(t, err)
		assert.Equal(t, v, again)
		assert.LessOrEqual(t, len(v), MaxLength)
		assert.Zero(t, Compare(v, v))
		if w, err := Parse(other); err == nil {
			assert.Equal(t, -Compare(w, v), Compare(v, w))
		}
	})
}

// What a table has of a version is read as that very version.
func TestAVersionOfATableIsTheSame(t *testing.T) {
	for _, v := range []V{"4.10", "3-1", "1:4.3~rc1"} {
		back, err := Parse(v.InTable())
		assert.NoError(t, err)
		assert.Equal(t, v, back)
		assert.NotRegexp(t, "^[0-9]", v.InTable())
	}
	assert.Equal(t, []string{"", "unknown"}, []string{V("").InTable(), Unknown.InTable()})
}
