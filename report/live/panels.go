package live

// panels are all panels of the page; those of one step stand below one another
// in this order.
func panels() []Panel {
	return []Panel{
		describePanel(),
		markPanel(),
		linkPanel(),
		roomPanel(),
		calibratePanel(),
		walkPanel(),
		runsPanel(),
		mapPanel(),
		sourcesPanel(),
		whatifPanel(),
		comparePanel(),
		choosePanel(),
		provePanel(),
		arrowPanel(),
		swingPanel(),
		recordPanel(),
	}
}
