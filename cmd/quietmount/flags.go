package main

import (
	"github.com/urfave/cli/v2"

	"quietmount/report/pdf"
)

// usualBaud is the speed of most boards that have one, bits a second.
const usualBaud = 115200

func jsonFlag() cli.Flag {
	return &cli.BoolFlag{Name: "json", Usage: "print the answer as JSON"}
}

func runsFlag() cli.Flag {
	return &cli.StringFlag{Name: "runs", Usage: "use only these `RUNS`, e.g. 1,2,5; default: all"}
}

func spotsFlag() cli.Flag {
	return &cli.IntFlag{Name: "spots", Value: 8, Usage: "list at most `N` spots"}
}

func sessionFlag() cli.Flag {
	return &cli.StringFlag{Name: "session", Usage: "`NAME` of the session; default: the date"}
}

func paperFlag() cli.Flag {
	return &cli.StringFlag{Name: "paper", Value: "a4", Usage: "`SIZE` of the paper: a4 or letter"}
}

func handsFreeFlag() cli.Flag {
	return &cli.BoolFlag{Name: "hands-free", Usage: "start a capture by itself once the readings are steady"}
}

func calibrationFlag() cli.Flag {
	return &cli.StringFlag{Name: "calibration", Usage: "apply the stored calibration `ID`; default: none"}
}

func axesFlag(otherwise string) cli.Flag {
	return &cli.StringFlag{Name: "axes", Usage: "craft `DIRECTIONS` to which the sensor's x, y and z point, e.g. +x,+y,+z; default: " + otherwise}
}

func dwellFlag() cli.Flag {
	return &cli.Float64Flag{Name: "dwell-s", Usage: "duration of a capture in seconds", Value: 3}
}

func outFlag(what string) cli.Flag {
	return &cli.StringFlag{Name: "out", Usage: what + " `FILE`.png, .svg or .pdf"}
}

// runFlags describe a run; survey, prove and import share them.
func runFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "state", Usage: "`STATE` of the run: background (without the craft), unpowered, or a load of the craft file"},
		&cli.Float64Flag{Name: "current-a", Usage: "the load's current in amperes while on"},
		&cli.BoolFlag{Name: "pulsed", Usage: "the load is switched on and off while the probe stays in place"},
		&cli.BoolFlag{Name: "substitute", Usage: "a supply or a resistor replaces the motor"},
		&cli.Float64Flag{Name: "nose-deg", Usage: "magnetic direction of the nose in degrees"},
		sessionFlag(),
	}
}

// withFlag names the loads that a proof has on together.
func withFlag() cli.Flag {
	return &cli.StringSliceFlag{Name: "with", Usage: "of a proof: `LOAD=A` goes on and off with the load of --state, at A amperes; may be repeated"}
}

// walkFlags are the settings with which survey and prove take a run.
func walkFlags() []cli.Flag {
	return []cli.Flag{
		axesFlag("those of the craft file"), calibrationFlag(), handsFreeFlag(),
		&cli.IntFlag{Name: "pulses", Usage: "switch the load on `N` times at a station", Value: 6},
		&cli.Float64Flag{Name: "on-s", Usage: "duration of a pulse, and of the pause after it, in seconds", Value: 3},
		dwellFlag(),
	}
}

// finishFlags are shared by arrow and swing.
func finishFlags() []cli.Flag {
	return []cli.Flag{
		&cli.BoolFlag{Name: "resume", Usage: "continue the newest unfinished run with its own settings"},
		handsFreeFlag(), dwellFlag(), calibrationFlag(),
		&cli.BoolFlag{Name: "calibrated", Usage: "the readings are calibrated already, by the module itself or in the file"},
		&cli.Float64Flag{Name: "limit-deg", Usage: "largest error that passes; default: heading_error_deg of the craft file"},
		jsonFlag(),
	}
}

// linkFlags are the source of samples and what its lines do not state.
func linkFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "port", Usage: "`PATH` of the serial port; default: the only one with a board on it"},
		&cli.IntFlag{Name: "baud", Usage: "bits per second; boards with native USB ignore it", Value: usualBaud},
		&cli.StringFlag{Name: "columns", Usage: "`COLUMNS` of a line in order, e.g. t,x,y,z,- (-: ignored)"},
		&cli.Float64Flag{Name: "scale", Usage: "microtesla per printed unit, e.g. 0.1 for milligauss"},
		&cli.IntFlag{Name: "sensor", Usage: "use sensor `N` if several share one line"},
		&cli.StringFlag{Name: "replay", Usage: "read a recorded stream from `FILE` instead of a port"},
		&cli.Float64Flag{Name: "rate-hz", Usage: "samples per second of a recorded stream that carries no time", Value: 50},
	}
}

// paperOf returns the paper of the flag.
func paperOf(c *cli.Context) (pdf.Paper, error) {
	paper, ok := pdf.PaperOf(c.String("paper"))
	if !ok {
		return paper, wrong("e.g. --paper letter", "--paper %s: paper is a4 or letter", c.String("paper"))
	}
	return paper, nil
}
