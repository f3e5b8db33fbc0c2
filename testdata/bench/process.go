package main

import (
	"bytes"
	"context"
	"fmt"
	"os/exec"
	"strings"
	"syscall"
	"time"
)

// took is what one process and its children took.
type took struct {
	wall    time.Duration
	cpu     time.Duration
	peak    int64 // most resident memory, bytes
	written int64 // bytes that the kernel wrote to a disk for it; tmpfs doesn't count
	out     []byte
}

// measured runs a program to its end.
func measured(ctx context.Context, name string, args ...string) (took, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	start := time.Now()
	err := cmd.Run()
	t := took{wall: time.Since(start), out: out.Bytes()}
	if err != nil {
		return t, fmt.Errorf("%s %s: %w\n%s%s", name, strings.Join(args, " "), err, errs.Bytes(), out.Bytes())
	}
	usage := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	t.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	t.peak = usage.Maxrss << 10
	t.written = usage.Oublock * 512
	return t, nil
}

// script is a side that is a shell's script of public tools.
func script(text string, args ...string) side {
	return func(ctx context.Context) (took, error) {
		return measured(ctx, "sh", append([]string{"-euc", "PATH=$PATH:/usr/sbin:/sbin\n" + text, "sh"}, args...)...)
	}
}
