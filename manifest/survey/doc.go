// Package survey finds out what is aboard: from tables that people fill in, and
// from captures of a boat's network.
package survey
