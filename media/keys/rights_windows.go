package keys

import (
	"fmt"
	"os"
	"strings"
	"unsafe"

	"golang.org/x/sys/windows"

	"cardwright/manifest/durable"
)

// me is the SID of the user of this program.
func me() (string, error) {
	user, err := windows.GetCurrentProcessToken().GetTokenUser()
	if err != nil {
		return "", err
	}
	return user.User.Sid.String(), nil
}

// createOwn makes the unfinished file of a path, which nobody but the user may
// open from its first moment on, whatever its folder would hand down to it (P:
// protected).
func createOwn(path string) (*os.File, error) {
	path = durable.Unfinished(path)
	fail := func(err error) (*os.File, error) {
		return nil, &os.PathError{Op: "create", Path: path, Err: err}
	}
	sid, err := me()
	if err != nil {
		return fail(err)
	}
	descriptor, err := windows.SecurityDescriptorFromString("D:P(A;;FA;;;" + sid + ")")
	if err != nil {
		return fail(err)
	}
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return fail(err)
	}
	rights := &windows.SecurityAttributes{SecurityDescriptor: descriptor}
	rights.Length = uint32(unsafe.Sizeof(*rights))
	handle, err := windows.CreateFile(name, windows.GENERIC_WRITE, windows.FILE_SHARE_READ, rights, windows.CREATE_NEW, windows.FILE_ATTRIBUTE_NORMAL, 0)
	if err != nil {
		return fail(err)
	}
	return os.NewFile(uintptr(handle), path), nil
}

// readByOthers says who else may read a file; "" where nobody may.
func readByOthers(f *os.File) (string, error) {
	sid, err := me()
	if err != nil {
		return "", err
	}
	descriptor, err := windows.GetSecurityInfo(windows.Handle(f.Fd()), windows.SE_FILE_OBJECT, windows.DACL_SECURITY_INFORMATION)
	if err != nil {
		return "", err
	}
	others := mayRead(unsafe.Slice((*byte)(unsafe.Pointer(descriptor)), descriptor.Length()), sid)
	for i, who := range others {
		others[i] = accountOf(who)
	}
	return strings.Join(others, ", "), nil
}

// accountOf is the name of the account or group of a SID, where
// the system knows it.
func accountOf(text string) string {
	sid, err := windows.StringToSid(text)
	if err != nil {
		return text
	}
	name, _, _, err := sid.LookupAccount("")
	if err != nil {
		return text
	}
	return fmt.Sprintf("%s (%s)", name, text)
}

// keepOthersOut says how.
const keepOthersOut = "in its properties, under Security, remove everybody but yourself"
