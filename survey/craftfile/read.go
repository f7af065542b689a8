package craftfile

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/survey"
	"quietmount/survey/number"
)

// Name is the name of the craft file in a craft's folder.
const Name = "craft.toml"

const (
	mostBytes         = 256 << 10 // longest craft file
	mostOutlinePoints = 1000
	mostSurfacePoints = 500
	mostBlocks        = 500 // of one kind
	mostHeights       = 50
)

// Load reads and checks the craft file of the folder dir. The error is a
// *MissingError if there is none, Mistakes if it is wrong.
func Load(dir string) (*survey.Craft, error) {
	f, err := os.Open(filepath.Join(dir, Name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &MissingError{Dir: dir}
	}
	if err != nil {
		return nil, fmt.Errorf("read craft file: %w", err)
	}
	defer f.Close()
	src, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read craft file: %w", err)
	}
	return Parse(src, Name)
}

// Parse reads and checks a craft file; name is used in errors only.
//
// It must hold name, [site] latitude_deg and longitude_deg, [craft]
// outline_mm, and a [grid] or a [[station]]. Everything else has a default:
// numbers 0 (unknown, or none), heights_mm [0], heading_error_deg 5, steady_ut
// 100, kind "current", and no limit where [cable], [balance] or [[keepout]] is
// missing. A byte order mark and CR LF are accepted, and so is an outline
// whose last point repeats the first.
//
// All errors are reported together as Mistakes, in the order of the file;
// text that is not TOML yields one. The Craft is nil if there is an error.
func Parse(src []byte, name string) (*survey.Craft, error) {
	r := &report{name: name}
	if len(src) > mostBytes {
		r.fail(position{1, 1}, "", "this file is longer than %d kB: it is no craft file", mostBytes>>10)
		return nil, r.err()
	}
	if bytes.HasPrefix(src, []byte{0xff, 0xfe}) || bytes.HasPrefix(src, []byte{0xfe, 0xff}) {
		r.fail(position{1, 1}, "save it as UTF-8", "this file is written in UTF-16")
		return nil, r.err()
	}
	sum := sha256.Sum256(src)
	root, err := parseTree(bytes.TrimPrefix(src, []byte("\xef\xbb\xbf")), name)
	if err != nil {
		syntax, ok := errors.AsType[*MistakeError](err)
		if !ok {
			return nil, err
		}
		return nil, Mistakes{syntax}
	}
	c := (&reader{report: r, root: r.open(root, "", "the top of the file")}).read()
	if err := r.err(); err != nil {
		return nil, err
	}
	c.SHA256 = hex.EncodeToString(sum[:])
	return c, nil
}

// reader reads the sections of one file into a Craft.
type reader struct {
	*report
	root *table
	c    survey.Craft
}

func (f *reader) read() *survey.Craft {
	f.root.need("name", `write name = "..." in the first line`)
	f.c.Name = f.root.named("name", "")
	f.site()
	f.c.Module = f.unit("module")
	if f.root.has("probe") {
		probe := f.unit("probe")
		f.c.Probe = &probe
	}
	f.body()
	f.mount()
	f.stations()
	f.keepouts()
	f.loads()
	f.parts()
	f.cable()
	f.balance()
	f.limits()
	f.remarks()
	return &f.c
}

// table opens the section [name]; its node is nil if the file has none.
func (f *reader) table(name string) *table {
	s, _ := sectionNamed(name)
	if !f.root.has(name) {
		return f.open(nil, name, s.heading())
	}
	node := f.root.node.fields[name]
	if node.kind == kindList && node.blocks {
		f.fail(node.at, "write "+s.heading(), "there is only one %s", s.heading())
		return f.open(nil, name, s.heading()).silent()
	}
	return f.open(node, name, s.heading())
}

// list opens the blocks [[name]], in the order of the file.
func (f *reader) list(name string) []*table {
	if !f.root.has(name) {
		return nil
	}
	node := f.root.node.fields[name]
	if node.kind != kindList {
		f.fail(node.at, fmt.Sprintf("write [[%s]], once for each", name), "%q is a list", name)
		return nil
	}
	if len(node.items) > mostBlocks {
		f.fail(node.at, "", "more than %d [[%s]]", mostBlocks, name)
		return nil
	}
	var out []*table
	for i, item := range node.items {
		label := fmt.Sprintf("[[%s]] %d", name, i+1)
		if item.kind == kindTable && item.fields["name"] != nil && item.fields["name"].kind == kindText {
			label = fmt.Sprintf("[[%s]] %q", name, short(item.fields["name"].text))
		}
		out = append(out, f.open(item, name, label))
	}
	return out
}

// takenNames keeps the names of one kind of thing apart.
type takenNames map[string]bool

// take reads the name of block and refuses one that was taken before.
func (seen takenNames) take(b *table) string {
	b.need("name", "")
	name := b.named("name", "")
	seen.claim(b, name)
	return name
}

func (seen takenNames) claim(b *table, name string) {
	if name != "" && seen[name] {
		b.fail(b.at("name"), "give it another name", "the name %q is taken already", name)
	}
	seen[name] = true
}

func (f *reader) site() {
	b := f.table("site")
	b.need("latitude_deg", "degrees north, south is negative")
	b.need("longitude_deg", "degrees east, west is negative")
	f.c.Site = survey.Site{
		LatitudeDeg:  b.number("latitude_deg", 0, bounds{low: -90, high: 90}),
		LongitudeDeg: b.number("longitude_deg", 0, bounds{low: -180, high: 180}),
		AltitudeM:    b.number("altitude_m", 0, bounds{low: -1000, high: 850_000}),
		Date:         readDate(b),
	}
}

// readDate takes the date as a text or as TOML's own date.
func readDate(b *table) string {
	if !b.has("date") {
		return ""
	}
	n := b.node.fields["date"]
	if n.kind != kindText && n.kind != kindDate {
		b.fail(n.at, `write it as "2026-06-01"`, "date wants a day, not %s", n.describe())
		return ""
	}
	if _, err := time.Parse(time.DateOnly, n.text); err != nil {
		b.fail(n.at, `write it as "2026-06-01"`, "date %q is no day of the calendar in the form YYYY-MM-DD", short(n.text))
		return ""
	}
	return n.text
}

// unit reads [module] or [probe].
func (f *reader) unit(section string) survey.Module {
	b := f.table(section)
	return survey.Module{
		Name:           b.named("name", section),
		MassG:          b.number("mass_g", 0, anyMass),
		RangeUT:        b.number("range_ut", 0, bounds{low: 0, high: 1e7}),
		CableMM:        b.number("cable_mm", 0, anyLength),
		FootprintMM:    b.vec2("footprint_mm", r2.Vec{}, anyLength),
		SensorHeightMM: b.number("sensor_height_mm", 0, anyLength),
		SensorOffsetMM: b.vec2("sensor_offset_mm", r2.Vec{}, anyPlace),
		Axes:           readAxes(b),
	}
}

func (f *reader) body() {
	b := f.table("craft")
	b.need("outline_mm", "the outline seen from above, as [[x, y], [x, y], ...]")
	f.c.Body = survey.Body{
		OutlineMM:  readPolygon(b, "outline_mm"),
		SurfaceZMM: b.number("surface_z_mm", 0, anyPlace),
	}
	f.c.Body.SurfacePoints = readSurface(b)
	fitted, places := b.texts("fitted")
	for i, s := range fitted {
		if why := nameFault(s); why != "" {
			b.fail(places[i], "", "an entry of fitted %s", why)
		}
	}
	f.c.Body.Fitted = fitted
}

// readPolygon reads key as an outline, dropping a last point that
// repeats the first.
func readPolygon(b *table, key string) plane.Polygon {
	points, places := b.points(key, 2, mostOutlinePoints)
	if !b.has(key) || points == nil && places == nil {
		return nil
	}
	p := make(plane.Polygon, len(points))
	for i, v := range points {
		p[i] = r2.Vec{X: v[0], Y: v[1]}
	}
	if n := len(p); n > 3 && p[0] == p[n-1] {
		p = p[:n-1]
	}
	if err := p.Check(); err != nil {
		at := b.node.fields[key].at
		if bad, ok := errors.AsType[*plane.Error](err); ok && bad.Point < len(places) {
			at = places[bad.Point]
		}
		b.fail(at, "", "%s: %v", key, err)
		return nil
	}
	return p
}

func readSurface(b *table) []r3.Vec {
	points, places := b.points("surface_points_mm", 3, mostSurfacePoints)
	var out []r3.Vec
	seen := map[r2.Vec]bool{}
	for i, v := range points {
		xy := r2.Vec{X: v[0], Y: v[1]}
		if seen[xy] {
			b.fail(places[i], "leave one out", "surface_points_mm has two points at x %s, y %s", number.Format(v[0]), number.Format(v[1]))
			return nil
		}
		seen[xy] = true
		out = append(out, r3.Vec{X: v[0], Y: v[1], Z: v[2]})
	}
	return out
}

func (f *reader) mount() {
	b := f.table("mount")
	f.c.Heights = []float64{0}
	if !b.has("heights_mm") {
		return
	}
	list := b.node.fields["heights_mm"]
	if list.kind != kindList || list.blocks || len(list.items) == 0 || len(list.items) > mostHeights {
		b.fail(list.at, "write heights_mm = [0] for the surface itself", "heights_mm wants a list of 1 to %d numbers", mostHeights)
		return
	}
	var heights []float64
	for _, item := range list.items {
		v, ok := b.numberIn("heights_mm", item, bounds{low: 0, high: 10_000})
		if ok && slices.Contains(heights, v) {
			b.fail(item.at, "", "heights_mm has %s twice", number.Format(v))
		}
		heights = append(heights, v)
	}
	f.c.Heights = heights
}

func (f *reader) cable() {
	b := f.table("cable")
	if b.node == nil {
		return
	}
	b.need("from_mm", "where the module's lead begins, [x, y]")
	cable := &survey.Cable{FromMM: b.vec2("from_mm", r2.Vec{}, anyPlace), SlackMM: b.number("slack_mm", 0, anyLength)}
	via, _ := b.points("via_mm", 2, mostOutlinePoints)
	for _, v := range via {
		cable.ViaMM = append(cable.ViaMM, r2.Vec{X: v[0], Y: v[1]})
	}
	f.c.Cable = cable
}

func (f *reader) balance() {
	b := f.table("balance")
	if b.node == nil {
		return
	}
	open := [2]float64{math.Inf(-1), math.Inf(1)}
	balance := &survey.Balance{CGXMM: open, CGYMM: open}
	if v := b.interval("cg_x_mm"); v != nil {
		balance.CGXMM = *v
	}
	if v := b.interval("cg_y_mm"); v != nil {
		balance.CGYMM = *v
	}
	if !b.has("cg_x_mm") && !b.has("cg_y_mm") {
		b.fail(b.node.at, "", "[balance] needs cg_x_mm or cg_y_mm")
	}
	f.c.Balance = balance
}

func (f *reader) limits() {
	b := f.table("limits")
	f.c.Limits = survey.Limits{
		HeadingErrorDeg: b.number("heading_error_deg", 5, bounds{low: 0, high: 180, open: true}),
		SteadyUT:        b.number("steady_ut", 100, bounds{low: 0, high: 1e7, open: true}),
		TiltDeg:         b.number("tilt_deg", 10, bounds{low: 0, high: 180}),
		TiltAssumed:     !b.has("tilt_deg"),
		SlipMM:          b.number("slip_mm", 3, bounds{low: 0, high: 50}),
	}
}
