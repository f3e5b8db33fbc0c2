package store_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// The drills kill this test program, run as a child with one of these jobs:
// at each of the moments below, or CARDWRIGHT_DRILLS times at random ones each
// (make drill).
var jobs = map[string]func(context.Context, []string) error{
	"append":  childAppend,
	"sync":    childSync,
	"restore": childRestore,
	"write":   childWrite,
	"follow":  childFollow,
}

const jobEnv = "CARDWRIGHT_JOB"

// moments are how long after its first word a child is killed: while its first
// event is still being followed by a second, within a transaction (one takes 2
// to 20 ms), between several, and when the log is being moved into the file.
func moments(t testing.TB) []time.Duration {
	t.Helper()
	text := os.Getenv("CARDWRIGHT_DRILLS")
	if text == "" {
		return []time.Duration{0, 3 * time.Millisecond, 25 * time.Millisecond, 110 * time.Millisecond}
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	list := make([]time.Duration, n)
	for i := range list {
		list[i] = time.Duration(rand.Int64N(int64(120 * time.Millisecond)))
	}
	return list
}

// runJob does a child's job instead of the tests.
func runJob(job string) int {
	if err := jobs[job](context.Background(), os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, job+":", err)
		return 1
	}
	return 0
}

func child(t testing.TB, job string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), jobEnv+"="+job)
	cmd.Stderr = os.Stderr
	return cmd
}

// acknowledge says that events are stored. What isn't said wasn't promised.
func acknowledge(events []ledger.Event) {
	var b strings.Builder
	for _, e := range events {
		fmt.Fprintln(&b, e.ID)
	}
	fmt.Print(b.String())
}

func childAppend(ctx context.Context, args []string) error {
	l, err := store.Open(ctx, args[0], store.Options{})
	if err != nil {
		return err
	}
	w := ledgertest.NewWorld(rand.Uint64())
	for day := 1; ; day++ {
		events, err := l.Append(ctx, ledgertest.Writer("Ada"), w.Visit(1, day)[:1+rand.IntN(9)]...)
		if err != nil {
			return err
		}
		acknowledge(events)
	}
}

// childSync appends to a van and acknowledges what the sync has brought to
// the server.
func childSync(ctx context.Context, args []string) error {
	van, err := store.Open(ctx, args[0], store.Options{})
	if err != nil {
		return err
	}
	server, err := store.Open(ctx, args[1], store.Options{})
	if err != nil {
		return err
	}
	w := ledgertest.NewWorld(rand.Uint64())
	for day := 1; ; day++ {
		events, err := van.Append(ctx, ledgertest.Writer("Ada"), w.Visit(2, day)...)
		if err != nil {
			return err
		}
		if _, err := store.Sync(ctx, van, server, store.SyncOptions{}); err != nil {
			return err
		}
		acknowledge(events)
	}
}

// childRestore restores a backup to a file or a server, again and again.
func childRestore(ctx context.Context, args []string) error {
	for n := 0; ; n++ {
		to := args[1]
		if !store.IsPostgres(to) {
			to += fmt.Sprint(n)
		}
		r, err := store.Restore(ctx, args[0], to, store.CheckOptions{Known: ledgertest.Known("Ada", "Ben")})
		if err != nil {
			return err
		}
		fmt.Println("restored", r.To)
	}
}

// childWrite appends a number of events, one at a time.
func childWrite(ctx context.Context, args []string) error {
	l, err := store.Open(ctx, args[0], store.Options{})
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(args[2])
	if err != nil {
		return err
	}
	for i := range n {
		events, err := l.Append(ctx, ledgertest.Writer(args[1]), step(i, "1.6", "1.8"))
		if err != nil {
			return err
		}
		acknowledge(events)
	}
	return l.Close()
}

// childFollow makes the copy of a server on this computer, again and again.
func childFollow(ctx context.Context, args []string) error {
	for {
		l, err := store.Open(ctx, args[0], store.Options{Memory: args[1]})
		if err != nil {
			return err
		}
		fmt.Println("following")
		r, _, err := l.Followed(ctx)
		if err := errors.Join(err, l.Close()); err != nil || r.Verdict != store.Whole {
			return fmt.Errorf("%s (%w)", r.Verdict, err)
		}
		left, err := filepath.Glob(args[1] + ".*")
		for _, path := range left {
			err = errors.Join(err, os.Remove(path))
		}
		if err != nil {
			return err
		}
	}
}

// killed runs a job, kills it (signal 9) some time after its first word, and
// returns everything that it had said by then.
func killed(t testing.TB, after time.Duration, job string, args ...string) []string {
	t.Helper()
	cmd := child(t, job, args...)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan(), "the child began its work")
	said := []string{lines.Text()}
	timer := time.AfterFunc(after, func() { cmd.Process.Signal(syscall.SIGKILL) })
	defer timer.Stop()
	for lines.Scan() {
		said = append(said, lines.Text())
	}
	var exit *exec.ExitError
	require.ErrorAs(t, cmd.Wait(), &exit)
	require.Equal(t, syscall.SIGKILL, exit.Sys().(syscall.WaitStatus).Signal(), "the child died of nothing else")
	return said
}

func requireAll(t testing.TB, l *store.Ledger, acknowledged []string) {
	t.Helper()
	for _, line := range acknowledged {
		id, err := ledger.ParseID(line)
		if err != nil {
			continue // the last line may have been cut off
		}
		_, ok, err := l.Event(context.Background(), id)
		require.NoError(t, err)
		require.True(t, ok, "acknowledged event %s was lost", line)
	}
}

func TestKilledWhileAppending(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel() // a drill mostly waits
			address := e.fresh(t)
			appendTo(t, open(t, address), "Ada", ledgertest.NewWorld(1).TakeOn(1, 0))
			var all []string
			for _, after := range moments(t) {
				all = append(all, killed(t, after, "append", address)...)
				l, err := store.Open(context.Background(), address, store.Options{})
				require.NoError(t, err)
				requireAll(t, l, all)
				requireWhole(t, l, "Ada")
				require.NoError(t, l.Close())
			}
		})
	}
}

func TestKilledWhileSyncing(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel() // a drill mostly waits
			address, van := e.fresh(t), file(t)
			server, local := open(t, address), open(t, van)
			appendTo(t, server, "Ben", ledgertest.NewWorld(1).TakeOn(1, 0))
			appendTo(t, local, "Ada", ledgertest.NewWorld(1).TakeOn(2, 0))
			var all []string
			for _, after := range moments(t) {
				all = append(all, killed(t, after, "sync", van, address)...)
				appendTo(t, server, "Ben", step(len(all), "1.6", "1.8"))
				requireAll(t, server, all)
				requireWhole(t, server, "Ada", "Ben")
				requireWhole(t, local, "Ada", "Ben")
			}
			syncWith(t, local, server)
			assert.Equal(t, contents(t, local), contents(t, server))
		})
	}
}

func TestKilledWhileRestoring(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel() // a drill mostly waits
			l := open(t, file(t))
			busy(t, l, 60)
			backup := filepath.Join(t.TempDir(), "backup.db")
			_, err := l.Backup(context.Background(), backup, known())
			require.NoError(t, err)
			for n, after := range moments(t) {
				t.Run(fmt.Sprint(n), func(t *testing.T) {
					to := e.fresh(t)
					if store.IsPostgres(to) {
						killedRestoring(t, after, backup, to)
					} else {
						killed(t, after, "restore", backup, to)
						requireFilesWhole(t, to)
					}
				})
			}
		})
	}
}

// killedRestoring kills a restore to a server: what got there holds, and
// doing it again brings the rest.
func killedRestoring(t *testing.T, after time.Duration, backup, to string) {
	t.Helper()
	l := open(t, to)
	cmd := child(t, "restore", backup, to)
	require.NoError(t, cmd.Start())
	time.Sleep(50*time.Millisecond + 5*after)
	require.NoError(t, cmd.Process.Signal(syscall.SIGKILL))
	require.Error(t, cmd.Wait())
	requireWhole(t, l, "Ada", "Ben")
	_, err := store.Restore(context.Background(), backup, to, known())
	require.NoError(t, err)
	assert.EqualValues(t, 660, requireWhole(t, l, "Ada", "Ben").Events)
}

// requireFilesWhole checks that of the files that were to be restored each is
// whole or isn't there.
func requireFilesWhole(t *testing.T, to string) {
	t.Helper()
	found, err := filepath.Glob(to + "*")
	require.NoError(t, err)
	require.NotEmpty(t, found)
	for _, path := range found {
		r, err := store.CheckAt(context.Background(), path, known())
		require.NoError(t, err)
		require.Equal(t, store.Whole, r.Verdict)
		require.EqualValues(t, 660, r.Events)
	}
}

// Eight programs write 200 events each at once: none is lost, and none is
// refused because another was writing.
func TestEightWritersAtOnce(t *testing.T) {
	const writers, each = 8, 200
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			address := e.fresh(t)
			l := open(t, address)
			var running []*exec.Cmd
			var said []io.Reader
			var names []string
			for n := range writers {
				names = append(names, fmt.Sprintf("writer %d", n/2)) // two programs share each key
				cmd := child(t, "write", address, names[n], fmt.Sprint(each))
				file, err := os.Create(filepath.Join(t.TempDir(), fmt.Sprint(n)))
				require.NoError(t, err)
				defer file.Close()
				cmd.Stdout = file
				require.NoError(t, cmd.Start())
				running, said = append(running, cmd), append(said, file)
			}
			for n, cmd := range running {
				require.NoError(t, cmd.Wait(), "writer %d", n)
				_, err := said[n].(io.Seeker).Seek(0, io.SeekStart)
				require.NoError(t, err)
				text, err := io.ReadAll(said[n])
				require.NoError(t, err)
				lines := strings.Fields(string(text))
				assert.Len(t, lines, each)
				requireAll(t, l, lines)
			}
			r := requireWhole(t, l, names...)
			assert.EqualValues(t, writers*each, r.Events)
			assert.Len(t, r.Chains, writers/2)
		})
	}
}

// A server that is stopped while it is written to: every error says so, what
// was acknowledged is there when it comes back, and work goes on.
func TestPostgreSQLStoppedInTheMiddle(t *testing.T) {
	ctx := context.Background()
	server, err := ledgertest.StartServer()
	require.NoError(t, err)
	defer func() { require.NoError(t, server.Remove()) }()
	address := server.Address("")
	l := open(t, address)
	van := open(t, file(t))
	w := ledgertest.NewWorld(3)
	appendTo(t, van, "Ben", w.TakeOn(1, 0))
	for range 3 {
		var acknowledged []string
		halted := make(chan error, 1)
		go func() {
			time.Sleep(time.Duration(100+rand.IntN(300)) * time.Millisecond)
			halted <- server.Halt()
		}()
		var failed error
		for day := 1; failed == nil; day++ {
			var events []ledger.Event
			if events, failed = l.Append(ctx, ledgertest.Writer("Ada"), w.Visit(1, day)...); failed == nil {
				for _, e := range events {
					acknowledged = append(acknowledged, e.ID.String())
				}
			}
		}
		assert.True(t, errors.Is(failed, store.ErrAway) || errors.Is(failed, store.ErrUncertain), "%v", failed)
		_, err := store.Sync(ctx, van, l, store.SyncOptions{})
		assert.ErrorIs(t, err, store.ErrAway)
		appendTo(t, van, "Ben", step(0, "1.6", "1.8"))
		_, err = store.Open(ctx, address, store.Options{})
		assert.ErrorIs(t, err, store.ErrAway)

		require.NoError(t, <-halted)
		require.NoError(t, server.Start())
		requireAll(t, l, acknowledged)
		requireWhole(t, l, "Ada", "Ben")
		syncWith(t, van, l)
		assert.Equal(t, contents(t, van), contents(t, l))
	}
}
