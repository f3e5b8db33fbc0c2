package readers

// CardOf reads what a card says of itself from a tree like /sys.
var CardOf = cardOf

// Run runs a tool of the system, bounded.
var Run = run
