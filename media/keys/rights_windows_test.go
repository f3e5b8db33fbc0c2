package keys

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/windows"
)

// By Windows' own calls: who may open a new key, and that letting others in is
// noticed, whatever the folder hands down.
func TestOthersAreKeptOut(t *testing.T) {
	// not t.TempDir, whose clean-up wine 8 fails at
	dir, err := os.MkdirTemp("", "keys")
	require.NoError(t, err)
	path := filepath.Join(dir, "a", "shop.key")
	t.Cleanup(func() {
		for _, made := range []string{path, filepath.Dir(path), dir} {
			assert.NoError(t, os.Remove(made), "nothing else was left there")
		}
	})
	made, err := New(path)
	require.NoError(t, err)
	loaded, err := Load(path)
	require.NoError(t, err)
	assert.Equal(t, made.Public(), loaded.Public())
	_, err = New(path)
	require.ErrorContains(t, err, "left as it is")

	me, err := me()
	require.NoError(t, err)
	letIn(t, path, "D:P(A;;FA;;;"+me+")(A;;FR;;;WD)")
	_, err = Load(path)
	require.ErrorContains(t, err, "others may read")
	require.ErrorContains(t, err, "S-1-1-0")

	_, err = Load(path + ".none")
	require.ErrorIs(t, err, os.ErrNotExist)
}

func letIn(t *testing.T, path, sddl string) {
	t.Helper()
	descriptor, err := windows.SecurityDescriptorFromString(sddl)
	require.NoError(t, err)
	list, _, err := descriptor.DACL()
	require.NoError(t, err)
	require.NoError(t, windows.SetNamedSecurityInfo(path, windows.SE_FILE_OBJECT,
		windows.DACL_SECURITY_INFORMATION|windows.PROTECTED_DACL_SECURITY_INFORMATION, nil, nil, list, nil))
}
