package report

import "quietmount/report/sheet"

// maps are those of the parts that were measured, the magnitudes only where
// there is no other; then each state, each height, and how well the map is
// known, where there is more than one to tell apart.
func (m *sheetMaker) maps() (sheet.Section, error) {
	s := sheet.Section{Title: "Maps"}
	add := func(all []*Picture, err error) error {
		for _, p := range all {
			s.Blocks = append(s.Blocks, sheet.Pictures{Across: 1, Items: []sheet.Picture{p}})
		}
		return err
	}
	for _, part := range mappedParts(m.f) {
		if part == PartMagnitude && len(s.Blocks) > 0 {
			continue
		}
		p, err := Map(m.f, m.ranking, MapOptions{Part: part})
		if err != nil {
			return s, err
		}
		_ = add([]*Picture{p}, nil)
	}
	if len(s.Blocks) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Nothing was measured that could be drawn."}}
		return s, nil
	}
	for _, p := range sidePictures(m.f, m.ranking) {
		if err := add(p.draw()); err != nil {
			return s, err
		}
	}
	return s, nil
}
