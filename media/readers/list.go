package readers

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path"
	"time"
)

// toolTimeout is how long the system's tool may take: a failing reader can keep it
// waiting.
const toolTimeout = 30 * time.Second

// List asks the system for its drives. It changes nothing and needs no special
// rights, without which file systems and labels may be missing.
func List(ctx context.Context) ([]Drive, error) {
	ctx, cancel := context.WithTimeout(ctx, toolTimeout)
	defer cancel()
	drives, err := listHere(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing drives: %w", err)
	}
	return drives, nil
}

// run is the output of a tool, of which at most maxListing bytes are kept.
func run(ctx context.Context, tool string, arguments ...string) ([]byte, error) {
	answer, complaint := bounded{most: maxListing}, bounded{most: maxText}
	cmd := exec.CommandContext(ctx, toolPath(tool), arguments...)
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	cmd.Stdout, cmd.Stderr = &answer, &complaint
	cmd.WaitDelay = time.Second // in case it started something that keeps the pipes open
	err := cmd.Run()
	switch {
	case ctx.Err() != nil:
		return nil, fmt.Errorf("running %s: no answer: a reader may be failing: unplug readers one by one (%w)", tool, ctx.Err())
	case errors.Is(err, exec.ErrNotFound):
		return nil, fmt.Errorf("running %s: it isn't installed; it is one of the system's own tools (%s)", tool, toolsOf)
	case answer.over:
		return nil, fmt.Errorf("running %s: it prints more than %d bytes", tool, maxListing)
	case err != nil:
		return nil, fmt.Errorf("running %s: %w: %s", tool, err, trimmed(string(complaint.kept)))
	}
	return answer.kept, nil
}

// toolFolders are where systems keep their tools (Filesystem Hierarchy Standard
// 3.0, /bin, /sbin and /usr), for a PATH that lacks them.
var toolFolders = []string{"/usr/bin", "/bin", "/usr/sbin", "/sbin"}

func toolPath(tool string) string {
	if _, err := exec.LookPath(tool); err == nil {
		return tool
	}
	for _, dir := range toolFolders {
		if found, err := exec.LookPath(path.Join(dir, tool)); err == nil {
			return found
		}
	}
	return tool
}

// bounded keeps the first bytes written to it and drops the rest.
type bounded struct {
	kept []byte
	most int
	over bool
}

func (b *bounded) Write(p []byte) (int, error) {
	room := min(len(p), b.most-len(b.kept))
	b.over = b.over || room < len(p)
	b.kept = append(b.kept, p[:room]...)
	return len(p), nil
}
