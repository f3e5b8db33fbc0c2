package sentences

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"
)

func read(t testing.TB, text string, o Options) *Log {
	t.Helper()
	r := NewReader(o)
	require.NoError(t, r.ReadAny(context.Background(), "test.log", strings.NewReader(text)))
	return r.Log()
}

// summed adds the checksum.
func summed(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X", body, sum)
}

const zda = "GPZDA,100000.00,13,06,2026,00,00"

// timed puts bodies between two times, so that each has one.
func timed(bodies ...string) string {
	out := summed(zda) + "\n"
	for _, b := range bodies {
		out += summed(b) + "\n"
	}
	return out + summed("GPZDA,100001.00,13,06,2026,00,00") + "\n"
}

func only(t *testing.T, l *Log, q Quantity) Source {
	t.Helper()
	require.Len(t, l.Of(q), 1, "%+v", l.Sources)
	return *l.Of(q)[0]
}

// Published examples with their checksums.
func TestPublishedSentences(t *testing.T) {
	l := read(t, "$HCHDG,98.3,0.0,E,12.6,W*57\r\n$HEHDT,341.8,T*21\r\n$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43\r\n$INHDG,180,5,W,10,W*6D\r\n", Options{})
	require.Equal(t, 4, l.Counts.Sentences)
	require.Zero(t, l.Counts.Wrong)
	require.Equal(t, 4, l.Counts.Untimed, "nothing says when they were")
	require.InDelta(t, -12.6, l.Sources[0].Variation.Mean(), 1e-9)
	require.InDelta(t, -10, l.Sources[3].Variation.Mean(), 1e-9)
}

func TestValues(t *testing.T) {
	for body, want := range map[string]struct {
		q    Quantity
		a, b float64
	}{
		"HCHDG,98.3,0.5,W,12.6,W":                  {Magnetic, 98.3, -0.5},
		"HCHDG,98.3,,,,":                           {Magnetic, 98.3, math.NaN()},
		"HCHDG,98.3,0.0,E,12.6":                    {Magnetic, 98.3, 0}, // the last field missing
		"HCHDM,007,M":                              {Magnetic, 7, math.NaN()},
		"GPHDT,360.0,T":                            {True, 0, 0},
		"GPTHS,341.8,A":                            {True, 341.8, 0},
		"GPVTG,224.44,T,224.44,M,5.81,N,10.76,K,A": {Ground, 224.44, 5.81},
		"GPVTG,224.44,T,,M,,N,18.52,K":             {Ground, 224.44, 10},
		"GPRMC,100000.5,A,5006.000,N,00412.000,W,6.1,030.5,130626,3.1,W": {Ground, 30.5, 6.1},
		"GPROT,-120.0,A":     {Rate, -2, 0},
		"ERRSA,-1.5,A,,":     {Rudder, -1.5, math.NaN()},
		"ERRSA,-1.5,A,2.5,A": {Rudder, -1.5, 2.5},
		"ERRSA,-1.5,A":       {Rudder, -1.5, math.NaN()},
		"GPGGA,100000,5006.000,N,00412.000,W,1,08,1.0,3,M,,M,,": {Place, 50.1, -4.2},
		"GNGNS,100000,5006.000,N,00412.000,W,AN,08,1.0,3,,,":    {Place, 50.1, -4.2},
		"GPGLL,5006.000,N,00412.000,W,100000,A,A":               {Place, 50.1, -4.2},
	} {
		s := only(t, read(t, timed(body), Options{}), want.q)
		require.Len(t, s.Samples, 1, body)
		require.InDelta(t, want.a, float64(s.Samples[0].A), 1e-4, body)
		if math.IsNaN(want.b) {
			require.True(t, math.IsNaN(float64(s.Samples[0].B)), body)
		} else {
			require.InDelta(t, want.b, float64(s.Samples[0].B), 1e-4, body)
		}
	}
}

// An empty field is no value, and never 0; void data is none either; nonsense is
// counted as that.
func TestNoValue(t *testing.T) {
	for body, want := range map[string]string{
		"IIHDT,,T":                         "empty",
		"IIHDM,,M":                         "empty",
		"HCHDG,,,,1.3,E":                   "empty",
		"IIHDT":                            "empty",
		"GPRMC,100000,A,,,,,5.0,,130626,,": "empty",
		"GPVTG,,T,,M,,N,,K,A":              "empty",
		"GPVTG,224.44,T,,M,,N,,K,A":        "empty",
		"GPRMC,100000,V,5006.0,N,00412.0,W,5.0,030,130626,,":   "void",
		"GPRMC,100000,A,5006.0,N,00412.0,W,5.0,030,130626,,,N": "void",
		"GPVTG,224.44,T,,M,5,N,,K,E":                           "void",
		"GPVTG,224.44,T,,M,5,N,,K,M":                           "void",
		"GPVTG,224.44,T,,M,5,N,,K,S":                           "void",
		"GPTHS,341.8,V":                                        "void",
		"GPROT,5,V":                                            "void",
		"ERRSA,5,V,,":                                          "void",
		"GPGGA,100000,5006.0,N,00412.0,W,0,08,1.0,3,M,,M,,":    "void",
		"GPGGA,100000,5006.0,N,00412.0,W,8,08,1.0,3,M,,M,,":    "void",
		"GPGLL,5006.0,N,00412.0,W,100000,V":                    "void",
		"GNGNS,100000,5006.0,N,00412.0,W,NN,00,,,,,":           "void",
		"IIHDT,361,T":                                          "bad",
		"IIHDT,-1,T":                                           "bad",
		"IIHDT,NaN,T":                                          "bad",
		"IIHDT,1e2,T":                                          "bad",
		"IIHDT,12.3.4,T":                                       "bad",
		"IIHDT,99999999999999999999,T":                         "bad",
		"HCHDG,98.3,5.0,N,,":                                   "bad",
		"GPVTG,224.44,T,,M,9999,N,,K,A":                        "bad",
		"GPGLL,5060.0,N,00412.0,W,100000,A":                    "bad",
		"GPGLL,9106.0,N,00412.0,W,100000,A":                    "bad",
	} {
		l := read(t, timed(body), Options{})
		void, empty, bad := 0, 0, 0
		for _, s := range l.Sources {
			require.True(t, len(s.Samples) == 0 || s.Quantity == Place && body[2:5] == "RMC", body)
			void, empty, bad = void+s.Void, empty+s.Empty, bad+s.Bad
		}
		got := map[string]int{"void": void, "empty": empty, "bad": bad}
		require.Equal(t, 1, got[want], "%s: %v", body, got)
		require.Equal(t, 1, void+empty+bad, "%s: %v", body, got)
	}
}

// A deviation without its side isn't a deviation of 0.
func TestSideMissing(t *testing.T) {
	l := read(t, timed("HCHDG,98.3,5.0,,,"), Options{})
	require.True(t, math.IsNaN(float64(l.Of(Magnetic)[0].Samples[0].B)))
	l = read(t, timed("HCHDG,98.3,,,12.6,"), Options{})
	require.Zero(t, l.Of(Magnetic)[0].Variation.Times)
}

func TestChecksums(t *testing.T) {
	text := summed(zda) + "\n$HCHDG,98.3,,,,*00\n$HCHDG,98.3,,,,\n$HCHDG,98.3,,,,*5\n$HCHDG,98.3,,,,*5Z\n" + strings.ToLower(summed("GPHDT,98.3,T")[:2]) + "\n"
	l := read(t, text, Options{})
	require.Equal(t, 3, l.Counts.Wrong)
	require.Equal(t, 2, l.Counts.Without)
	require.Empty(t, l.Of(Magnetic))
	l = read(t, text, Options{NoChecksum: true})
	require.Equal(t, 1, l.Sources[1].Count, "taken when it is asked for; a wrong one never")
	require.True(t, l.Counts.WithoutUsed)
	require.Equal(t, 2, l.Counts.Without, "and told")
}

func TestSentencesInOneLine(t *testing.T) {
	one, two := summed("HCHDG,98.3,,,,"), summed("GPHDT,98.0,T")
	l := read(t, summed(zda)+one+two+"\n"+one[:8]+two+"\n", Options{})
	require.Equal(t, 4, l.Counts.Sentences)
	require.Equal(t, 1, l.Counts.Cut)
	l = read(t, strings.Repeat(one+"\r", 2000), Options{}) // carriage returns alone
	require.InDelta(t, 2000, l.Counts.Sentences, 40)
}

func TestHostileSentences(t *testing.T) {
	for _, text := range []string{
		"$", "$*", "$*00", "$GPTXT,*63", "$PTXT*08", "$P*50", "$,*2C", "$$$$", "*63", "\\", "\\*\\$", "$HCHDG", "$HCHDG*", "\\c:\\$HCHDG,1*00",
		"$\x00\x01*01", "\xff\xfe$HCHDG,1,,,,*4D", "[]$GPHDT,1,T*00",
	} {
		require.NotPanics(t, func() { read(t, text, Options{NoChecksum: true}) }, "%q", text)
	}
	l := read(t, strings.Repeat("x", 3*maxLine)+"\n"+summed("GPHDT,1,T")+"\n", Options{})
	require.Equal(t, 1, l.Counts.Long)
	require.Equal(t, 1, l.Counts.Sentences)
	require.Equal(t, 2, l.Counts.Lines)
}

// Stamps before sentences, in the forms that logging programs write.
func TestStamps(t *testing.T) {
	for _, stamp := range []string{
		"2026-06-13T10:00:%02d.000Z ", "2026-06-13 10:00:%02d.5,", "[2026-06-13 10:00:%02d] ", "17813448%02d ", "17813448%02d123 ", "17813448%02d.25;N;",
		"(17813448%02d.123456) ", "\\s:shore,c:17813448%02d*00\\", "10:00:%02d.250 ", "17813448%02d000;A;", "\"2026-06-13T10:00:%02dZ\",",
	} {
		text := ""
		for i := range 30 {
			text += fmt.Sprintf(stamp, i) + summed(fmt.Sprintf("GPHDT,%d,T", i)) + "\n"
		}
		l := read(t, text, Options{})
		require.Zero(t, l.Counts.Stamps, stamp)
		s := only(t, l, True)
		require.Len(t, s.Samples, 30, stamp)
		require.InDelta(t, 29, s.Samples[29].T-s.Samples[0].T, 1e-3, stamp)
		if strings.Contains(stamp, "2026") || strings.Contains(stamp, "178") {
			require.Equal(t, "2026-06-13", l.Date.Format(time.DateOnly), stamp)
		}
	}
	l := read(t, "what is this "+summed("GPHDT,1,T")+"\n", Options{})
	require.Equal(t, 1, l.Counts.Stamps)
}

func rmc(at string) string {
	return summed("GPRMC,"+at+",A,5006.0,N,00412.0,W,5.0,030,130626,,") + "\n"
}

// A bare log takes its time from the sentences that tell it; what is between
// two is spread over them.
func TestBareTimes(t *testing.T) {
	text := ""
	for i := range 10 {
		text += rmc(fmt.Sprintf("1000%02d", i))
		for range 9 {
			text += summed("HCHDG,98.3,,,,") + "\n"
		}
	}
	l := read(t, text, Options{})
	s := only(t, l, Magnetic)
	require.Len(t, s.Samples, 90)
	require.InDelta(t, 0.1, s.Samples[1].T-s.Samples[0].T, 1e-6)
	require.InDelta(t, 9.8, s.Samples[89].T-s.Samples[0].T, 1e-6)
	require.Equal(t, "GPRMC", l.Clock)
	require.InDelta(t, 36000.1, l.TimeOfDay(s.Samples[0].T), 1e-6)
}

func TestMidnightGapsAndJumps(t *testing.T) {
	l := read(t, rmc("235958")+rmc("235959")+rmc("000000")+rmc("000001"), Options{})
	s := only(t, l, Ground)
	require.InDelta(t, 3, s.Samples[3].T-s.Samples[0].T, 1e-6)
	require.Zero(t, l.Counts.Jumps)

	l = read(t, rmc("100000")+summed("HCHDG,98.3,,,,")+"\n"+rmc("100100"), Options{})
	require.Equal(t, 1, l.Counts.Gaps)
	require.InDelta(t, 60, l.Counts.GapSeconds, 1e-6)
	require.Equal(t, 1, l.Counts.Untimed, "nobody knows when in that minute it was")

	l = read(t, rmc("100000")+rmc("100001")+rmc("093000")+rmc("093001"), Options{})
	require.Equal(t, 1, l.Counts.Jumps)
	s = only(t, l, Ground)
	for i := 1; i < len(s.Samples); i++ {
		require.Greater(t, s.Samples[i].T, s.Samples[i-1].T, "the line of time never runs back")
	}
	require.InDelta(t, 9.5*3600, l.TimeOfDay(s.Samples[2].T), 1e-6)
}

// A clock that runs back all the time is bounded, and told.
func TestClockThatRunsBack(t *testing.T) {
	var text strings.Builder
	for i := range 5000 {
		at := 80000 - 10*i%80000
		text.WriteString(rmc(fmt.Sprintf("%02d%02d%02d", at/3600, at/60%60, at%60)))
	}
	l := read(t, text.String(), Options{})
	require.Greater(t, l.Counts.Jumps, 4000)
	require.LessOrEqual(t, len(l.shifts), mostShifts)
}

func TestReadErrors(t *testing.T) {
	r := NewReader(Options{})
	require.ErrorContains(t, r.Read(context.Background(), "x.log", iotest.ErrReader(fmt.Errorf("the stick was pulled"))), "reading x.log: the stick was pulled")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.ErrorIs(t, r.Read(ctx, "x.log", strings.NewReader("a\nb\n")), context.Canceled)
}

func TestTooManySources(t *testing.T) {
	var text strings.Builder
	for a := 'A'; a <= 'Z'; a++ {
		for b := 'A'; b <= 'Z'; b++ {
			if a != 'P' {
				text.WriteString(summed(fmt.Sprintf("%c%cHDT,1,T", a, b)) + "\n")
			}
		}
	}
	l := read(t, text.String(), Options{})
	require.Len(t, l.Sources, maxSources)
	require.Equal(t, 25*26-maxSources, l.Counts.LeftOut)
}

// A capture of NMEA 2000, by its text: heading 90.0° magnetic by 127250, course
// 90.0° at 3.00 m/s by 129026, variation 3.1° W. The layouts are canboat's.
func TestCapture(t *testing.T) {
	var text strings.Builder
	for i := range 130 {
		fmt.Fprintf(&text, "(%d.000000) can0 09F11203#FF5C3DFF7FE3FDFD\n(%d.100000) can0 09F80224#FFFC5C3D2C01FFFF\n", 1781344800+i, 1781344800+i)
	}
	l := read(t, text.String(), Options{})
	heading := only(t, l, Magnetic)
	require.InDelta(t, 90, float64(heading.Samples[0].A), 0.01)
	require.InDelta(t, -3.1, heading.Variation.Mean(), 0.01)
	require.Equal(t, "N2K-127250-3", heading.Name)
	ground := only(t, l, Ground)
	require.InDelta(t, 90, float64(ground.Samples[0].A), 0.01)
	require.InDelta(t, 5.83, float64(ground.Samples[0].B), 0.01)
	require.Equal(t, "2026-06-13", l.Date.Format(time.DateOnly))
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(timed("HCHDG,98.3,0.0,E,12.6,W", "GPHDT,1,T", "ERRSA,1,A,,")), false)
	f.Add([]byte("\\s:x,c:1781344800*00\\"+rmc("100000")), true)
	f.Add([]byte("(1781344800.0) can0 09F11203#FF5C3DFF7FE3FD FD\n"), false)
	f.Add([]byte("2026-06-13 10:00:00,$HCHDG,98.3\r$GPHDT,\x00"), true)
	f.Fuzz(func(t *testing.T, data []byte, without bool) {
		l := read(t, string(data), Options{NoChecksum: without})
		last := math.Inf(-1)
		for _, s := range l.Sources {
			for i, x := range s.Samples {
				require.False(t, math.IsNaN(x.T) || math.IsNaN(float64(x.A)))
				require.True(t, i == 0 || x.T >= s.Samples[i-1].T)
			}
			require.LessOrEqual(t, s.Void+s.Empty+s.Bad+len(s.Samples), s.Count+s.Count)
		}
		_ = last
		require.LessOrEqual(t, l.Counts.Sentences, len(data))
	})
}

// The speed of reading beside a bare loop over lines with checksum, of a log
// as displays write it.
func mixed(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(rmc(fmt.Sprintf("%02d%02d%02d", i/3600%24, i/60%60, i%60)))
		for k := range 10 {
			b.WriteString(summed(fmt.Sprintf("SDHDG,%d.%d,,,1.3,E", 229+k%3, k)) + "\r\n")
		}
		for _, s := range []string{"SDDPT,5.3,0.4,", "SDMTW,,C", "SDVHW,231.3,T,229.9,M,6.6,N,12.3,K", "WIMWV,57.5,R,13.0,N,A", "GPGSV,3,1,11,03,03,111,00,04,15,270,00,06,01,010,00,13,06,292,00", "GPVTG,224.44,T,224.44,M,5.81,N,10.76,K,A"} {
			b.WriteString(summed(s) + "\r\n")
		}
	}
	return b.String()
}

func BenchmarkRead(b *testing.B) {
	text := mixed(2000)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		r := NewReader(Options{})
		require.NoError(b, r.Read(context.Background(), "x", strings.NewReader(text)))
	}
}

func BenchmarkBareLoop(b *testing.B) {
	text := mixed(2000)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		bare(strings.NewReader(text))
	}
}
