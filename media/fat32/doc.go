// Package fat32 lays out a memory card with one FAT32 partition and writes it
// front to back. Everything is known before the first byte: [Lay] checks names,
// sizes and room and decides where each byte goes; the same [Spec] gives the same
// bytes. Nothing that grows with the payload is held in memory.
//
// It reads no card: what judges one shares no code with it. The form follows the
// Microsoft FAT32 File System Specification, version 1.03 of 6 December 2000 ("the
// specification").
package fat32

// A card has one MBR partition of type 0x0C from sector 8192, two FATs, FSInfo with
// exact counts, backup boot sectors at sector 6, and a data area that begins on a
// 4 MiB boundary. The caller writes it once, every folder and file in one piece, in
// this order:
//
//  1. zeros over [Layout.Blank];
//  2. [Layout.WriteStructures] and the files, each where [Layout.Files] says;
//  3. a judge reads the medium through [Layout.Overlay];
//  4. [Layout.Boot], write by write. Until the last of them no device sees a
//     file system.
