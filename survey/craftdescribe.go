package survey

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Describe says in plain sentences what the craft file holds and what it
// leaves open, the remarks of reading last. The page and `verify` show it
// beside the picture, so that a slip is seen before anything is measured.
func (c *Craft) Describe() []string {
	out := []string{c.describeSize(), c.describeStations()}
	for _, set := range c.Combinations() {
		out = append(out, "Can be on together: "+strings.Join(set, ", ")+".")
	}
	open := func(missing bool, text string) {
		if missing {
			out = append(out, text)
		}
	}
	open(len(c.Loads) == 0, "No loads: the shifting part cannot be measured.")
	open(c.Base == nil, "No base station: drift during a run cannot be seen.")
	open(c.Measures().Axes == nil, "The axes of what measures are not stated: every vector is in doubt until `arrow` has found them.")
	open(c.Module.FootprintMM.X == 0 || c.Module.FootprintMM.Y == 0, "The module has no footprint: it is taken for a point.")
	open(c.Measures().SensorHeightMM == 0, "The height of the sensor in its case is not stated: it is taken for 0.")
	open(c.Module.RangeUT == 0, "The module's range is not stated: it cannot be a limit.")
	open(c.Cable == nil || c.Module.CableMM == 0, "No cable is described: every place counts as within reach.")
	open(c.Balance == nil, "No range for the centre of gravity: balance limits nothing.")
	open(c.mass() == 0, "No masses: the balance cannot be computed.")
	for _, r := range c.Remarks {
		out = append(out, strings.ToUpper(r[:1])+r[1:]+".")
	}
	return out
}

func (c *Craft) describeSize() string {
	box := c.Body.OutlineMM.Bounds()
	return fmt.Sprintf("%s is %.0f mm long and %.0f mm wide, x from %.0f to %.0f, y from %.0f (left) to %.0f (right).",
		c.Name, box.Max.X-box.Min.X, box.Max.Y-box.Min.Y, box.Min.X, box.Max.X, box.Min.Y, box.Max.Y)
}

func (c *Craft) describeStations() string {
	all := c.Stations()
	switch {
	case len(all) == 0:
		return "No stations."
	case len(all) == 1:
		return fmt.Sprintf("One station: %s.", all[0].Name)
	}
	s := fmt.Sprintf("%d stations", len(all))
	if grid := len(all) - len(c.Singles); grid > 0 {
		s += fmt.Sprintf(", %d of them on a grid of %s mm from %s to %s", grid, CraftFormat(c.Grid.SpacingMM), all[0].Name, all[grid-1].Name)
	}
	return s + "."
}

// mass is the mass of all parts, grams.
func (c *Craft) mass() float64 {
	sum := 0.0
	for _, p := range c.Parts {
		sum += math.Abs(p.MassG)
	}
	return sum
}

func CraftFormat(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
