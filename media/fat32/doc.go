// Package fat32 lays out a memory card with one FAT32 partition and writes it
// front to back.
//
// Everything is known before the first byte: [Lay] checks names, sizes and
// room and decides where each byte goes; the card is then written once, every
// folder and file in one piece, and nothing that grows with the payload is
// held in memory. In order, by the caller:
//
//  1. zeros over [Layout.Blank];
//  2. [Layout.WriteStructures] and the files, each where [Layout.Files] says;
//  3. a judge reads the medium through [Layout.Overlay];
//  4. [Layout.Boot], write by write. Until the last of them no device sees a
//     file system.
//
// The form follows the Microsoft FAT32 File System Specification, version
// 1.03 of 6 December 2000 ("the specification" below): one MBR partition of
// type 0x0C from sector 8192, two FATs, FSInfo with exact counts, backup boot
// sectors at sector 6, and a data area that begins on a 4 MiB boundary of the
// card. The same [Spec] gives the same bytes.
//
// # The card's digest
//
// [Layout.Digest] is the SHA-256 over, in this order:
//
//   - the card's size in bytes as ASCII decimal, and a line feed;
//   - the card's bytes from 0 to the end of the second FAT, with the partition
//     table and the boot sectors in place;
//   - the clusters of each folder, whole, by ascending place, the root first;
//   - the SHA-256 (32 bytes) of each file that is not empty, by ascending
//     place.
//
// What lies after a file's last byte in its last cluster, and in clusters that
// are not in use, does not count.
package fat32
