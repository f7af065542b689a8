package survey

// The two states that are not a load's name.
const (
	StateBackground = "background" // the craft taken away
	StateUnpowered  = "unpowered"  // the craft in place, everything off
)
