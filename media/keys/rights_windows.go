package keys

import (
	"fmt"
	"io/fs"
	"os"
	"strings"

	"golang.org/x/sys/windows"
)

// me is the SID of the user of this program.
func me() (string, error) {
	user, err := windows.GetCurrentProcessToken().GetTokenUser()
	if err != nil {
		return "", err
	}
	return user.User.Sid.String(), nil
}

// ownerOnly lets nobody but the user open a file, whatever its folder would
// hand down to it.
func ownerOnly(f *os.File) error {
	sid, err := me()
	if err != nil {
		return err
	}
	rights, err := windows.SecurityDescriptorFromString("D:P(A;;FA;;;" + sid + ")")
	if err != nil {
		return err
	}
	list, _, err := rights.DACL()
	if err != nil {
		return err
	}
	return windows.SetNamedSecurityInfo(f.Name(), windows.SE_FILE_OBJECT,
		windows.DACL_SECURITY_INFORMATION|windows.PROTECTED_DACL_SECURITY_INFORMATION, nil, nil, list, nil)
}

// readByOthers says who else may read a file, and what to do; "" where nobody
// may.
func readByOthers(path string, _ fs.FileInfo) string {
	sid, err := me()
	if err != nil {
		return fmt.Sprintf("it can't be told who you are: %v): make a new key with cardwright key new", err)
	}
	rights, err := windows.GetNamedSecurityInfo(path, windows.SE_FILE_OBJECT, windows.DACL_SECURITY_INFORMATION)
	if err != nil {
		return fmt.Sprintf("its rights can't be read: %v): look at them in its properties, under Security", err)
	}
	others := mayRead(rights.String(), sid)
	if len(others) == 0 {
		return ""
	}
	return fmt.Sprintf("%s): take their rights away in its properties, under Security", strings.Join(others, ", "))
}
