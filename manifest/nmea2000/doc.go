// Package nmea2000 reads captures of a boat's network: lines become frames,
// frames messages (fast packets among them), and two messages say which devices
// there are. What can't be understood is counted, never guessed.
// It sends nothing, and knows no vessel's file. The sources are in doc.go.
package nmea2000

// Sources, read in 2026:
//
//   - the frame's identifier (priority, PGN, source address) and the address
//     claim's NAME: Linux kernel, Documentation/networking/j1939.rst and
//     include/uapi/linux/can/j1939.h;
//   - the fields of PGN 126996, product information, and of PGN 60928, address
//     claim; how fixed texts are padded: canboat's published description,
//     docs/canboat.json 6.2.0;
//   - fast packets (sequence in three bits and frame in five of the first byte,
//     the length in the second of the first frame, six bytes and then seven,
//     223 at most): the documentation of canboat and canboat-rs;
//   - candump's two forms of text: can-utils, candump.c and lib.h.
//
// From memory: that the frames of one message follow one another within 750 ms
// (the time-out of transport in SAE J1939-21).
