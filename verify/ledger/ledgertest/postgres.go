package ledgertest

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver pgx
	"github.com/stretchr/testify/require"
)

// Server is a throw-away PostgreSQL server on a socket in its own folder.
type Server struct {
	dir      string
	settings []string
	process  *exec.Cmd
	exited   chan struct{}
}

// StartServer makes a server and starts it, with settings such as fsync=on over
// those for tests, which are fast and don't outlive a power cut. Where there is
// no PostgreSQL it says what to install.
func StartServer(settings ...string) (*Server, error) {
	initdb, err := postgresProgram("initdb")
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "cardwright-postgres-*")
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir, settings: settings}
	if err := s.giveAway(dir); err != nil {
		return nil, err
	}
	cmd := exec.Command(initdb, "-A", "trust", "--no-sync", "-U", "ledger", "-E", "UTF8", "--locale=C", "-D", s.data())
	if out, err := s.run(cmd); err != nil {
		return nil, fmt.Errorf("initdb: %w: %s", err, out)
	}
	return s, s.Start()
}

func postgresProgram(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil || len(found) == 0 {
		return "", fmt.Errorf("no %s here: these tests start a PostgreSQL server; install one (Debian: apt-get install postgresql)", name)
	}
	return found[len(found)-1], nil
}

func (s *Server) data() string { return filepath.Join(s.dir, "data") }

func (s *Server) run(cmd *exec.Cmd) (string, error) {
	if err := s.as(cmd); err != nil {
		return "", err
	}
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// patience is how long a server may take to answer.
const patience = time.Minute

// Start starts the server (again) and returns when it answers. After a halt
// the memory that its processes shared may still be there for a moment, and a
// new server refuses to start: then it is started again.
func (s *Server) Start() error {
	for end := time.Now().Add(patience); ; {
		if err := s.launch(); err != nil {
			return err
		}
		err := s.await(end)
		if err == nil || time.Now().After(end) {
			return err
		}
	}
}

func (s *Server) launch() error {
	postgres, err := postgresProgram("postgres")
	if err != nil {
		return err
	}
	s.process = exec.Command(postgres, "-D", s.data(), "-k", s.dir, "-c", "listen_addresses=", "-c", "fsync=off",
		"-c", "max_connections=60", "-c", "shared_buffers=64MB", "-c", "log_min_messages=fatal")
	for _, setting := range s.settings {
		s.process.Args = append(s.process.Args, "-c", setting)
	}
	if err := s.as(s.process); err != nil {
		return err
	}
	if err := s.process.Start(); err != nil {
		return err
	}
	process, exited := s.process, make(chan struct{})
	s.exited = exited
	go func() { process.Wait(); close(exited) }()
	return nil
}

// await returns when the server answers, or has ended by itself.
func (s *Server) await(end time.Time) error {
	db, err := sql.Open("pgx", s.Address(""))
	if err != nil {
		return err
	}
	defer db.Close()
	for time.Now().Before(end) {
		if err = db.Ping(); err == nil {
			return nil
		}
		select {
		case <-s.exited:
			return errors.New("PostgreSQL ended as soon as it was started")
		case <-time.After(50 * time.Millisecond):
		}
	}
	return fmt.Errorf("PostgreSQL didn't answer in %s: %w", patience, err)
}

// Halt stops the server at once, as a power cut would stop its processes, and
// returns when it is gone.
func (s *Server) Halt() error {
	err := s.process.Process.Signal(syscall.SIGQUIT)
	<-s.exited
	return err
}

// Remove stops the server and removes its folder.
func (s *Server) Remove() error {
	return errors.Join(s.Halt(), os.RemoveAll(s.dir))
}

// Address is a ledger's address on the server, in a schema of its own.
func (s *Server) Address(schema string) string {
	q := url.Values{"host": {s.dir}}
	if schema != "" {
		q.Set("search_path", schema)
	}
	return "postgres://ledger@/postgres?" + q.Encode()
}

var schemas atomic.Int64

// fresh makes an empty schema and gives its address; it goes with the test.
func (s *Server) fresh(t testing.TB) string {
	t.Helper()
	schema := fmt.Sprintf("ledger%d", schemas.Add(1))
	require.NoError(t, s.exec("CREATE SCHEMA "+schema))
	t.Cleanup(func() { s.exec("DROP SCHEMA " + schema + " CASCADE") }) // the server goes anyway
	return s.Address(schema)
}

// exec runs one statement and keeps no connection: a server takes only so many.
func (s *Server) exec(query string) error {
	db, err := sql.Open("pgx", s.Address(""))
	if err != nil {
		return err
	}
	_, err = db.Exec(query)
	return errors.Join(err, db.Close())
}

var shared struct {
	once   sync.Once
	server *Server
	err    error
}

// Postgres gives the address of an empty ledger on the server that the tests
// of one package share. The package's TestMain calls Main.
func Postgres(t testing.TB) string {
	t.Helper()
	shared.once.Do(func() { shared.server, shared.err = StartServer() })
	require.NoError(t, shared.err)
	return shared.server.fresh(t)
}

// Main runs a package's tests, and then removes the shared server.
func Main(m *testing.M) int {
	code := m.Run()
	if shared.server == nil {
		return code
	}
	if err := shared.server.Remove(); err != nil {
		fmt.Fprintln(os.Stderr, "removing PostgreSQL:", err)
		return 1
	}
	return code
}
