package main

import (
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/report/template"
	"quietmount/survey/calibrate"
	"quietmount/survey/logbook"
)

// The groups of the help, in the order of the job.
const (
	groupBegin   = "1 Begin and describe"
	groupModule  = "2 Module and bench"
	groupMeasure = "3 Measure"
	groupAnswer  = "4 Answers"
	groupFinish  = "5 Before and after gluing"
	groupFile    = "6 Evidence"
	groupShell   = "7 Shell"
)

// table collects the commands, group by group.
type table struct {
	sh    shell
	group string
	all   []*cli.Command
}

// commands returns all commands in the order of the job.
func commands(sh shell) []*cli.Command {
	t := &table{sh: sh}
	t.begin()
	t.module()
	t.measure()
	t.readings()
	t.trials()
	t.proofs()
	t.finish()
	t.evidence()
	t.shell()
	return t.all
}

// add adds a command. call is its name and its arguments, usage its line in the
// list of commands, about the paragraph of the command's help.
func (t *table) add(call string, run func(*cli.Context, shell) error, usage, about string, flags ...[]cli.Flag) {
	name, args, _ := strings.Cut(call, " ")
	t.all = append(t.all, &cli.Command{
		Name: name, ArgsUsage: args, Category: t.group, Usage: usage, Description: about, Flags: slices.Concat(flags...),
		Action: func(c *cli.Context) error { return run(c, t.sh) },
	})
}

func (t *table) begin() {
	t.group = groupBegin
	t.add("demo", runDemo,
		"survey a simulated craft from start to finish and write a folder to explore",
		"Surveys an invented catamaran; the module and its operator are simulated. Decoder, guide, logbook "+
			"and evaluation are those of a real survey. It takes some seconds. With --serve it only simulates "+
			"the module, at a pseudo-terminal, so that you can take a survey of your own without hardware.",
		[]cli.Flag{
			&cli.StringFlag{Name: "out", Usage: "write the craft folder to `DIR`", Value: "sandpiper-demo"},
			&cli.Uint64Flag{Name: "seed", Usage: "seed `N` of the random numbers", Value: 1},
			&cli.BoolFlag{Name: "small", Usage: "make a short survey: few stations, few pulses, small files"},
			&cli.BoolFlag{Name: "serve", Usage: "simulate the module at a pseudo-terminal until interrupted (Linux, macOS)"},
			&cli.Float64Flag{Name: "follow-s", Usage: "with --serve: move the probe to the next station at this interval in seconds; 0: you type where it goes"},
			jsonFlag(),
		})
	t.add("init [DIR]", runInit,
		"write a commented craft.toml to start from",
		"At a terminal, without flags, it asks for what it needs, in millimetres or inches. Otherwise sizes "+
			"that no flag gives are typical of the kind of craft. It overwrites nothing.",
		[]cli.Flag{
			&cli.StringFlag{Name: "kind", Usage: "`KIND` of craft: wing, multirotor or hull"},
			&cli.StringFlag{Name: "name", Usage: "name of the craft"},
			&cli.StringFlag{Name: "length-mm", Usage: "`LENGTH` from nose to tail; 12in works too"},
			&cli.StringFlag{Name: "width-mm", Usage: "`WIDTH` from left to right; 12in works too"},
			&cli.Float64Flag{Name: "lat", Usage: "latitude of use in degrees, north positive"},
			&cli.Float64Flag{Name: "lon", Usage: "longitude of use in degrees, east positive"},
		})
	t.add("verify [DIR]", runVerify,
		"check every file of a folder and list what is wrong; draw the craft",
		"",
		[]cli.Flag{
			&cli.StringFlag{Name: "picture", Usage: "draw the craft as described to `FILE`.png, .svg or .pdf"},
			jsonFlag(),
		})
	t.add("template [DIR]", runTemplate,
		"print the stations, or the module's place, at full scale",
		"Writes a PDF: an overview, then pages to join and tape to the craft or to a board; with --spot the glue "+
			"template of one place on one page: footprint, arrow, sensor, and the marks to lay it by. Print it at 100 "+
			"per cent. The sheet for the underside is mirrored, to fit the overturned craft.",
		[]cli.Flag{
			&cli.StringFlag{Name: "side", Value: string(template.Top), Usage: "`SIDE` of the craft: top or underside"},
			&cli.StringFlag{Name: "out", Usage: "write to `FILE`.pdf"},
			paperFlag(),
			&cli.StringFlag{Name: "overview", Usage: "also write the overview alone to `FILE`.pdf"},
			optionalNumberFlag{&cli.StringFlag{Name: "spot", Usage: "the glue template of spot `N` of the ranking; without N: the chosen spot, else the first"}},
		})
}

func (t *table) module() {
	t.group = groupModule
	t.add("field [DIR]", runField,
		"print the Earth's reference field for a place and date",
		"Gives the elements of the World Magnetic Model with their yearly changes and uncertainties. The place "+
			"is that of --lat and --lon, or else that of the craft file in DIR.",
		[]cli.Flag{
			&cli.Float64Flag{Name: "lat", Usage: "geodetic latitude in degrees, north positive"},
			&cli.Float64Flag{Name: "lon", Usage: "longitude in degrees, east positive"},
			&cli.Float64Flag{Name: "alt-m", Usage: "height above the WGS 84 ellipsoid in metres"},
			&cli.StringFlag{Name: "date", Usage: "`YYYY-MM-DD` or a decimal year; default: the craft file's date, else today"},
			&cli.StringFlag{Name: "cof", Usage: "read another model from a coefficient `FILE` in the COF format"},
			jsonFlag(),
		})
	t.add("ports", runPorts,
		"list the serial ports, boards on USB first",
		"Pseudo-terminals are not listed, but --port accepts them. On Linux and macOS listing opens no port.",
		[]cli.Flag{jsonFlag()})
	t.add("listen [DIR]", runListen,
		"check what the module sends: line format, rate, noise, faults",
		"Listens for some seconds while the probe lies still, then reports what it recognised and how sure it is. "+
			"With a craft folder it compares the strength with the reference field of the site. --wiggle asks you to "+
			"bend the probe's lead and move its board: the readings must not change. --turns 4 asks you to turn the "+
			"nose clockwise in quarters and reports which axes fit. If nothing readable arrives at the usual speed, "+
			"it tries others, unless --baud is given. Exit status 3: not fit to measure with.",
		linkFlags(),
		[]cli.Flag{
			&cli.Float64Flag{Name: "for-s", Value: 10, Usage: "seconds to listen"},
			&cli.BoolFlag{Name: "wiggle", Usage: "check that bending the lead and moving the board change nothing"},
			&cli.IntFlag{Name: "turns", Usage: "compare `N` level directions of the nose, each a quarter turn clockwise from the last"},
			&cli.Float64Flag{Name: "nose-deg", Usage: "with --turns: magnetic direction of the nose before the first turn, in degrees"},
			jsonFlag(),
		})
	t.add("room [DIR]", runRoom,
		"judge whether the field at this bench is uniform and steady enough",
		"Judges the background captures of the folder: how much the field changes over the craft's area and with "+
			"time. With --port (or --replay) it takes these captures first, as survey --state background does; they "+
			"count as the background run. Exit status 3: the bench is not fit.",
		linkFlags(),
		[]cli.Flag{
			handsFreeFlag(),
			&cli.Float64Flag{Name: "nose-deg", Usage: "magnetic direction in which the nose will point, in degrees"},
			sessionFlag(), runsFlag(), jsonFlag(),
		})
	t.add("calibrate [DIR] [FILE.csv]", runCalibrate,
		"calibrate the probe away from the craft, or the finished craft",
		"Finds the probe's offset and, as far as the readings support it, its gains and cross terms. Turn the probe "+
			"slowly through all directions; the screen shows which are missing. Enter ends it early. Or give a file "+
			"with the header t_s,bx,by,bz and one reading per row, in microtesla. An accepted calibration is stored; "+
			"survey --calibration applies it. With --on-craft the module is mounted, everything is fitted and off, "+
			"and you turn the whole craft: the result is compared with the steady part that the map promised. Exit "+
			"status 3: not accepted, or the promise is not kept.",
		linkFlags(), fitFlags())
}

// fitFlags are the flags of calibrate besides those of the link.
func fitFlags() []cli.Flag {
	return []cli.Flag{
		&cli.Float64Flag{Name: "for-s", Value: calibrate.UsualS, Usage: "stop after this many seconds"},
		&cli.Float64Flag{Name: "covered-percent", Value: 100 * calibrate.UsualCovered, Usage: "stop when this percentage of all directions is covered"},
		&cli.Float64Flag{Name: "from-s", Usage: "leave out the readings before this time, in seconds"},
		&cli.Float64Flag{Name: "to-s", Usage: "leave out the readings after this time, in seconds"},
		&cli.StringFlag{Name: "parameters", Value: "auto", Usage: "fit `N` parameters: 3 (offset), 4 (and a common gain), 6 (a gain per axis), 9 (and cross terms), or auto: as many as the readings support"},
		&cli.StringFlag{Name: "scale-from", Value: "auto", Usage: "take the scale from `WHAT`: reference (the Earth's field, outdoors), probe (its own units, indoors), or auto: reference if the two agree within 5 %"},
		&cli.Float64Flag{Name: "tilt-deg", Usage: "largest tilt of the module in use, in degrees; default: the craft file's limit, at least 20"},
		&cli.Float64Flag{Name: "prior-gain", Value: 0.03, Usage: "expected deviation of a gain from 1, one standard deviation"},
		&cli.Float64Flag{Name: "prior-cross", Value: 0.02, Usage: "expected size of a cross term, one standard deviation"},
		&cli.BoolFlag{Name: "on-craft", Usage: "turn the whole finished craft, the module mounted, and compare its steady part with the map's promise"},
		&cli.StringFlag{Name: "loose", Usage: "with --on-craft: stored calibration `ID` of the module by itself; default: the newest"},
		&cli.IntFlag{Name: "spot", Usage: "with --on-craft: the module is at spot `N` of the ranking; default: the chosen spot"},
		&cli.StringFlag{Name: "picture", Usage: "draw the covered part of the sphere to `FILE`.png, .svg or .pdf"},
		jsonFlag(),
	}
}

func (t *table) measure() {
	t.group = groupMeasure
	t.add("survey [DIR]", runSurvey,
		"measure one run over the stations, guided, by key or hands-free",
		"Names one station after another and stores a capture at each. Commands on standard input, one per line: empty "+
			"(capture now), redo, skip, goto NAME, note TEXT, pause, continue, stop. With --json it prints every event "+
			"as one JSON object per line, for scripts.",
		runFlags(), linkFlags(), walkFlags(),
		[]cli.Flag{
			&cli.StringSliceFlag{Name: "station", Usage: "visit only `STATION`; may be given several times"},
			&cli.IntFlag{Name: "most", Usage: "visit only the `N` stations that cover the craft best"},
			&cli.BoolFlag{Name: "asked", Usage: "visit the places that the ranking proposes to measure next"},
			&cli.BoolFlag{Name: "full", Usage: "visit every station for the background too"},
			&cli.BoolFlag{Name: "resume", Usage: "continue the unfinished run of this state with its own settings"},
			&cli.BoolFlag{Name: "plan", Usage: "print the route and its minutes, and measure nothing"},
			jsonFlag(),
		})
	t.add("bench [DIR]", runBench,
		"do the whole job on a page in the browser",
		"Serves a page to this machine only and opens it. Its address admits one browser, once; Enter prints a new "+
			"address. --lan admits a second screen, such as a phone at the bench: that link is plain HTTP, which everybody on "+
			"the same network can read. A survey begun here can be continued in the terminal, and the other way round. "+
			"Ctrl-C closes the page.",
		linkFlags(),
		[]cli.Flag{
			&cli.IntFlag{Name: "listen-port", Usage: "TCP port `N` of the page; default: any free port"},
			&cli.StringFlag{Name: "lan", Usage: "also listen on `ADDRESS`, one of this machine's own, for a second screen"},
			&cli.BoolFlag{Name: "no-open", Usage: "print the address and open no browser"},
		})
	t.add("import [DIR] FILE.csv", runImport,
		"import a run that was logged elsewhere, from CSV",
		"The header is capture,station,t_s,bx_ut,by_ut,bz_ut, then in any order ax_g,ay_g,az_g, current_a, load_on (0 "+
			"or 1) and x_mm,y_mm,z_mm. Each row is a sample; the rows with the same capture number are one capture. FILE "+
			"may be - for standard input.",
		runFlags(),
		[]cli.Flag{
			axesFlag("the file is in the craft frame"), calibrationFlag(), withFlag(),
			&cli.BoolFlag{Name: "module", Usage: "the module itself measured, not the [probe] of the craft file"},
			jsonFlag(),
		})
}

func (t *table) readings() {
	t.group = groupAnswer
	t.add("map [DIR]", runMap,
		"show what the craft does to a compass at each station and between",
		"Prints the table of stations. With --out it also draws the map of one part: shifting (the worst combination of "+
			"loads), steady, magnitude, or one load by its name. These flags draw something else: --states small maps of "+
			"every state, --heights small maps of every mounting height, each set on one scale; --standard-error the map "+
			"beside its standard error; --load-chart a load's field against its current. A second page goes to FILE-2.",
		[]cli.Flag{
			outFlag("draw to"),
			&cli.StringFlag{Name: "part", Usage: "`PART` to draw: shifting, steady, magnitude or a load's name; default: shifting if measured"},
			&cli.Float64Flag{Name: "height", Usage: "draw for a module at `MM` above the surface; default: the first height of the craft file"},
			&cli.BoolFlag{Name: "states", Usage: "draw small maps of the worst combination, of each load and of the unpowered craft"},
			&cli.BoolFlag{Name: "heights", Usage: "draw small maps of every mounting height"},
			&cli.BoolFlag{Name: "standard-error", Usage: "draw the map beside its standard error"},
			&cli.StringFlag{Name: "load-chart", Usage: "draw the field of load `NAME` against its current"},
			&cli.StringFlag{Name: "at", Usage: "`STATIONS` of the chart, separated by commas; default: those nearest to the ranked spots"},
			&cli.BoolFlag{Name: "phone", Usage: "lay the picture out for the screen of a phone"},
			&cli.BoolFlag{Name: "dark", Usage: "draw on a dark background, for a screen"},
			runsFlag(), jsonFlag(),
		})
	t.add("sources [DIR]", runSources,
		"find the magnets and leads that cause the field, their strength and safe distance",
		"Fits small magnets and the described leads to the fields at the stations, for the steady part and for each load. "+
			"It first tries the parts that the craft file marks as magnetic, and the leads with a path, at their places. "+
			"Safe distances are for the worst orientation.",
		[]cli.Flag{runsFlag(), jsonFlag()})
}

func (t *table) trials() {
	t.add("whatif [DIR]", runWhatif,
		"rank again with a magnet or lead added, moved, turned or removed, or another cable or height",
		"Predicts the map with the change and shows its ranking beside the present one. Several changes are made "+
			"together. Nothing on disk changes. Exit status 3: a spot is within the budget now, and none would be after "+
			"the change.",
		[]cli.Flag{
			&cli.StringFlag{Name: "add-magnet", Usage: "add a disc magnet `D,H,GRADE`: diameter and thickness in mm, e.g. 10,2,N52; with --at"},
			&cli.StringFlag{Name: "at", Usage: "centre of the added magnet: `X,Y,Z` in mm"},
			&cli.StringFlag{Name: "along", Usage: "craft `AXIS` to which the magnet's north pole points: x, y, z, -x, -y or -z; default for --add-magnet: z"},
			&cli.StringFlag{Name: "add-lead", Usage: "add a lead along `X,Y,Z:X,Y,Z` (more places may follow); with --current-a"},
			&cli.Float64Flag{Name: "current-a", Usage: "largest current of the added lead in amperes"},
			&cli.Float64Flag{Name: "gap-mm", Value: 3, Usage: "gap between the two conductors of the added lead, side by side at one height, in mm; 0: twisted"},
			&cli.StringFlag{Name: "load", Usage: "`LOAD` of the craft file whose current the added lead carries; default: a new load that can be on with all others"},
			&cli.StringFlag{Name: "move", Usage: "move a `PART` of the craft file; with --to"},
			&cli.StringFlag{Name: "to", Usage: "new place of the moved part, or of the first point of a lead: `X,Y,Z` in mm"},
			&cli.StringFlag{Name: "turn", Usage: "turn the magnet of a `PART`; needs --along"},
			&cli.StringFlag{Name: "without", Usage: "remove a `PART` of the craft file"},
			&cli.Float64Flag{Name: "cable-mm", Usage: "length of the module's cable in mm, instead of that of the craft file"},
			&cli.Float64Flag{Name: "height", Usage: "allow the module to stand at this height above the surface in mm, too"},
			spotsFlag(), runsFlag(), jsonFlag(),
		})
	t.add("rank [DIR]", runRank,
		"list the spots where the module may be mounted, the quietest first",
		"Lists the spots that satisfy keep-outs, clearances, cable length and balance, ordered by the shifting heading "+
			"error to be expected of them, with its upper 95 per cent bound. Exit status 3: no spot is within the budget.",
		[]cli.Flag{
			spotsFlag(),
			&cli.StringFlag{Name: "choose", Usage: "store spot `N` of the list, or the place X,Y,Z in mm, as the chosen one in DIR/choice.json"},
			runsFlag(), jsonFlag(),
		})
}

func (t *table) proofs() {
	t.add("compare [DIR]", runCompare,
		"show what changed between two surveys, and whether the spot still qualifies",
		"Compares runs of one state, unpowered or the same load, station by station, each with the backgrounds of its "+
			"session. Exit status 3: after the change the chosen spot (or else the first of the earlier ranking) exceeds a "+
			"limit.",
		[]cli.Flag{
			&cli.StringFlag{Name: "before", Usage: "run `N`, or runs such as 1,2, of the first survey"},
			&cli.StringFlag{Name: "after", Usage: "run `M`, or runs such as 5,6, of the second survey"},
			&cli.StringFlag{Name: "part", Usage: "`PART` to compare: steady, or a load's name; default: what the runs have in common"},
			outFlag("draw the signed map of change to"),
			runsFlag(), jsonFlag(),
		})
	t.add("balance [DIR]", runBalance,
		"find the centre of gravity with the module, and what restores balance",
		"Adds up the masses of the craft file and of the module, at the given spot or else at the first of the ranking; "+
			"before there is a ranking, without the module. Exit status 3: out of balance.",
		[]cli.Flag{
			&cli.StringFlag{Name: "spot", Usage: "place of the module's foot: `X,Y,Z` in mm"},
			&cli.IntFlag{Name: "rank", Usage: "the module is at spot `N` of the ranking"},
			runsFlag(), jsonFlag(),
		})
	t.add("prove [DIR]", runProve,
		"measure at the chosen spot before gluing, and compare with what the map promised",
		"With --port (or --replay) it measures: tape the module to the spot in its final pose, with everything fitted. The "+
			"load of --state is pulsed, you lift the module and set it back, and the load is pulsed again, three times in all; "+
			"do this once for each load, and once with the worst combination (--with). Without a port it compares the map's "+
			"promise with the captures at this spot; an imported run whose only station is named spot counts as a proof. "+
			"Proofs stay out of the map until one fails: that stays on record, and its captures are readings of the map from "+
			"then on. Exit status 3: not proved.",
		[]cli.Flag{
			&cli.IntFlag{Name: "spot", Usage: "spot `N` of the ranking; default: the chosen spot"},
			&cli.StringFlag{Name: "at", Usage: "place `X,Y,Z` on the surface in mm, instead of a spot of the ranking"},
			&cli.Float64Flag{Name: "height", Usage: "with --at: height of the module above the surface in mm"},
		},
		runFlags(), linkFlags(), walkFlags(),
		[]cli.Flag{
			withFlag(),
			&cli.BoolFlag{Name: "probe", Usage: "the [probe] of the craft file measures, not the module: the place is checked, not proved"},
			runsFlag(), jsonFlag(),
		})
}

func (t *table) finish() {
	t.group = groupFinish
	t.add("arrow [DIR] [FILE.csv]", runArrow,
		"check which way the module's arrow and label face, before gluing",
		"Captures the field with the nose in known directions and tipped, guided as survey is (--port or --replay), or "+
			"reads pose,t_s,bx,by,bz from FILE.csv (- is standard input). The module may also be held in the hand. Poses: "+
			"north, east, south, west, and tipped from nose north: up, down, left, right, inverted. One wrong pose is "+
			"reported and left out. With neither a port nor a file it shows the newest check. Exit status 3: the arrow "+
			"is not right.",
		linkFlags(), finishFlags(),
		[]cli.Flag{
			&cli.StringFlag{Name: "from", Usage: "read the captures from `FILE`.csv, as the argument does"},
			&cli.StringFlag{Name: "poses", Usage: "`POSES` to capture, e.g. north,east,south,west,down"},
			&cli.BoolFlag{Name: "quick", Usage: "capture only nose north, nose east, nose down: two minutes, with a calibrated probe"},
			&cli.Float64Flag{Name: "north-deg", Usage: "magnetic direction of the poses' north, in degrees"},
			&cli.BoolFlag{Name: "true-north", Usage: "the poses are relative to true north: correct for the declination"},
			&cli.Float64Flag{Name: "pose-deg", Usage: "standard uncertainty of a pose in degrees", Value: 1.5},
			&cli.BoolFlag{Name: "probe", Usage: "check the [probe] instead of the [module]"},
			&cli.BoolFlag{Name: "store", Usage: "take the arrow to point to the nose and store the axes found in the craft file"},
			&cli.BoolFlag{Name: "exactly", Usage: "with --store: the axes as measured, not the nearest right angles"},
		})
	t.add("swing [DIR] [FILE.csv]", runSwing,
		"measure the deviation of the finished craft's compass; draw its card",
		"Captures the module on 8 headings and on the first again, guided as survey is (--port or --replay), or reads "+
			"heading_deg,t_s,bx,by,bz[,ax_g,ay_g,az_g] or heading_deg,compass_deg from FILE.csv (- is standard input). With "+
			"neither a port nor a file it shows the newest stored swing. Headings are those of marks, clockwise from mark 0; "+
			"--reference states where mark 0 points. Exit status 3: not within the limit.",
		linkFlags(), finishFlags(), swingFlags())
}

// swingFlags are the flags of swing besides those of the link and of arrow.
func swingFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "from", Usage: "read the swing from `FILE`.csv, as the argument does"},
		&cli.StringFlag{Name: "headings", Usage: "`N` headings evenly spaced, 8 or 12 or 16, or the marks themselves: 0,30,75,...", Value: "8"},
		&cli.StringFlag{Name: "reference", Usage: "`KIND`: marks (of a turntable, mark 0 to magnetic north), line or sun", Value: logbook.ReferenceMarks},
		&cli.BoolFlag{Name: "relative", Usage: "the direction of mark 0 is unknown: coefficient A cannot be found"},
		&cli.Float64Flag{Name: "zero-deg", Usage: "with marks: magnetic direction of mark 0"},
		&cli.Float64Flag{Name: "line-deg", Usage: "with line: true direction of the line along which mark 0 points"},
		&cli.Float64Flag{Name: "sun-deg", Usage: "with sun: bearing of the sun, clockwise from mark 0, at --at"},
		&cli.StringFlag{Name: "at", Usage: "`TIME` of the sun's bearing, or of t_s = 0 with a column sun_deg, e.g. 2026-06-01T15:04:05+01:00; default: now"},
		&cli.Float64Flag{Name: "heading-su-deg", Usage: "standard uncertainty of one heading in degrees", Value: 1},
		&cli.StringFlag{Name: "state", Usage: "swing under load: `NAME` of the load that is on"},
		&cli.Float64Flag{Name: "current-a", Usage: "the load's current in amperes"},
		&cli.IntFlag{Name: "number", Usage: "show the stored swing `N`"},
		&cli.IntFlag{Name: "before", Usage: "compare with the stored swing `N`, taken before a change"},
		&cli.BoolFlag{Name: "exact", Usage: "compute fitted values and card from the exact form"},
		axesFlag("those of the craft file"),
		&cli.IntFlag{Name: "spot", Usage: "compare the steady part with the map's promise for spot `N`, using --on-craft and --loose; default: the chosen spot"},
		&cli.StringFlag{Name: "on-craft", Usage: "stored calibration `ID` of the finished craft"},
		&cli.StringFlag{Name: "loose", Usage: "stored calibration `ID` of the module before it was mounted"},
		&cli.StringFlag{Name: "card", Usage: "draw the deviation card to `FILE`.png, .svg or .pdf"},
	}
}

func (t *table) evidence() {
	t.group = groupFile
	t.add("record [DIR]", runRecord,
		"write the record sheet, the maps and the numbers into DIR/record",
		"The sheet, as one HTML file and as PDF, is for the chosen spot (rank --choose), else for the first of the ranking. "+
			"The same input files give the same bytes. --bundle packs everything that verify and record need to run again.",
		[]cli.Flag{
			paperFlag(),
			&cli.StringFlag{Name: "bundle", Usage: "also pack craft file, runs, calibrations, swings, choice and record into `FILE`.zip"},
			runsFlag(),
		})
	t.add("export [DIR]", runExport,
		"write a run as CSV, in the craft frame",
		"",
		[]cli.Flag{
			&cli.IntFlag{Name: "run", Usage: "number `N` of the run"},
			&cli.StringFlag{Name: "out", Usage: "write to `FILE` instead of standard output"},
		})
}

func (t *table) shell() {
	t.group = groupShell
	t.add("completion SHELL", runCompletion,
		"print a completion script for bash, zsh, fish or pwsh",
		"bash: quietmount completion bash > ~/.local/share/bash-completion/completions/quietmount\n"+
			"zsh:  quietmount completion zsh > a file named _quietmount in a folder of $fpath\n"+
			"fish: quietmount completion fish > ~/.config/fish/completions/quietmount.fish\n"+
			"pwsh: quietmount completion pwsh >> $PROFILE")
	t.add("complete", runComplete, "print candidates for the last of the given words, for completion scripts", "")
	t.all[len(t.all)-1].Hidden = true
}
