package guide

import (
	"fmt"
	"strings"

	"quietmount/survey"
)

// Everything the guide says stands in this file. The words are for people;
// scripts look at Event.Code.

// The codes of warnings, rejections and endings.
const (
	CodeNoBase         = "no-base"
	CodeNoAxes         = "no-axes"
	CodeUnsteady       = "unsteady"
	CodeMoved          = "moved"
	CodeChanged        = "changed"
	CodeSpikes         = "spikes"
	CodeDrift          = "drift"
	CodeSaturated      = "saturated"
	CodeStale          = "stale"
	CodeFew            = "too-few"
	CodeStuck          = "stuck"
	CodeNoNoise        = "no-noise"
	CodePulses         = "pulses"
	CodeCurrent        = "current"
	CodeLinkLost       = "link-lost"
	CodeLinkBack       = "link-back"
	CodeSilent         = "silent"
	CodeReadings       = "readings-back"
	CodeWrongMark      = "wrong-mark"
	CodeTurnedArrow    = "turned-arrow"
	CodeLifted         = "lifted"
	CodeBaseMoved      = "base-moved"
	CodeBaseField      = "base-field"
	CodeMagnitude      = "magnitude"
	CodeDipSign        = "dip-sign"
	CodeMirrored       = "mirrored"
	CodeNotMoved       = "not-moved"
	CodeUnknownStation = "unknown-station"
	CodeUnknownCommand = "unknown-command"
	CodeNothingToRedo  = "nothing-to-redo"
	CodeBusy           = "busy"
	CodeConfirmFirst   = "confirm-first"
	CodeStoreFailed    = "store-failed"
	CodeResumed        = "resumed"
	CodeHeld           = "held"
	CodeGoesOn         = "goes-on"
	CodeFinished       = "finished"
	CodeStopped        = "stopped"
	CodeOperator       = "operator"
)

const (
	msgNoBase       = "the craft file names no base station: drift of the room or the probe will not be seen in this run"
	msgNoAxes       = "the probe's axes are not known: readings are shown along the probe's own axes; run the arrow check and store them"
	msgBusy         = "the last capture is still being saved"
	msgConfirm      = "first confirm the checklist, item by item, or stop"
	msgPausedInput  = "the link is down: wait until it is back, or stop"
	msgFinished     = "every station was visited"
	msgStopped      = "stopped before every station was visited; take it up again with --resume"
	msgHeld         = "paused: nothing is captured until you go on"
	msgGoesOn       = "going on"
	msgLinkBack     = "the link is back: set the probe down again; a base reading now would show whether anything changed"
	msgSilentInput  = "no readings come: wait until they are back, or stop"
	msgReadingsBack = "the readings are back"
	msgRedoing      = "nothing more to redo: this station is being captured again already"
	msgRedo         = "the operator captures it again"
	msgSkip         = "left out by the operator"
	msgLift         = "lift the probe and set it down again, or capture by command, or skip this station"
	msgBackToBase   = "this is a base reading: the probe goes back to the base station"
)

func msgCommand(kind CommandKind) string {
	return fmt.Sprintf("no such command: %.40q; an empty line captures now, else redo, redo NAME, skip, goto NAME, note TEXT, pause, continue, stop", string(kind))
}

func msgUnknownStation(name, near string) string {
	if near == "" {
		return fmt.Sprintf("no station is called %q", name)
	}
	return fmt.Sprintf("no station is called %q; did you mean %q?", name, near)
}

func msgNoRedo(name string) string {
	if name == "" {
		return "nothing to redo: no capture counts yet"
	}
	return fmt.Sprintf("nothing to redo: no capture at %q counts", name)
}

func msgGotoEmpty() string { return "goto needs the name of a station" }

func msgUnsteady(waited float64) string {
	return fmt.Sprintf("the probe did not come to rest within %.0f s; set it down and take the hand away", waited)
}

func msgUnsteadySpread(spreadUT, noiseUT float64) string {
	return fmt.Sprintf("the readings spread by %.2g uT, the probe at rest by %.2g uT; set it down and take the hand away", spreadUT, noiseUT)
}

func msgMoved(at, byUT float64) string {
	return fmt.Sprintf("the probe moved or turned, or something magnetic did, %.1f s into the dwell (by %.2g uT)", at, byUT)
}

func msgChanged(at, byUT float64) string {
	return fmt.Sprintf("the field changed %.1f s into the dwell (by %.2g uT): something magnetic came near or was switched", at, byUT)
}

func msgDrifted(byUT float64) string {
	return fmt.Sprintf("the field drifted by %.2g uT during the dwell: wait until it is steady", byUT)
}

func msgCameAndWent(from, to, byUT float64) string {
	return fmt.Sprintf("the field changed %.1f s into the dwell (by %.2g uT) and changed back at %.1f s: something magnetic came near and went", from, byUT, to)
}

func msgSpikes(fraction float64) string {
	return fmt.Sprintf("%.0f %% of the readings lie far from the rest and were left out: look for a loose lead", 100*fraction)
}

func msgDrifts(byUT float64) string {
	return fmt.Sprintf("the field drifted by %.2g uT during the dwell; it was taken all the same", byUT)
}

func msgSaturated(axis string, valueUT, rangeUT float64) string {
	return fmt.Sprintf("the probe's %s axis reads %.0f uT, the end of its range of %.0f uT: this place is too close to a magnet for this probe", axis, valueUT, rangeUT)
}

func msgStale(gap float64) string {
	return fmt.Sprintf("the readings stopped for %.1f s during the dwell", gap)
}

func msgStandsStill(n int, seconds float64) string {
	return fmt.Sprintf("%d readings are said to have come within %.1f s: the clock of the module stands still; start the module anew, or leave the column of its time out", n, seconds)
}

func msgSilent(seconds float64) string {
	return fmt.Sprintf("no readings for %.0f s: the probe or its board has gone quiet; look at the lead and the supply", seconds)
}

func msgFew(n int, seconds float64) string {
	return fmt.Sprintf("only %d different readings in %.0f s", n, seconds)
}

func msgStuck(station string) string {
	return fmt.Sprintf("every reading is the same, and the same as at %s: the probe seems to have stopped measuring", station)
}

func msgStuckAxis(axis, station string) string {
	return fmt.Sprintf("the probe's %s axis does not change, neither here nor since %s, while the others do: it is stuck or at the end of its range", axis, station)
}

const msgNoNoise = "every reading of this dwell is the same: a coarse or smoothed sensor; the uncertainty given is no better than its last digit"

func msgPulses(have, need int, how string) string {
	return fmt.Sprintf("%d complete pulses%s, at least %d are needed", have, how, need)
}

func msgResumed(have, left int) string {
	return fmt.Sprintf("taken up again: %d captures count already, %d visits are left besides the base", have, left)
}

func msgCurrent(gotA, statedA float64) string {
	return fmt.Sprintf("the current while on is %.3g A, this run states %.3g A: the results are scaled by the current, so one of them must be put right", gotA, statedA)
}

func msgPulseMoved(byUT float64) string {
	return fmt.Sprintf("with the load off the level wandered by %.2g uT: the probe or the craft moved while the load was switched", byUT)
}

func msgPulseLifted(byUT float64) string {
	return fmt.Sprintf("with the load off the field did not hold still (%.2g uT): the probe was touched, or something magnetic moved", byUT)
}

func msgPulseTipped(deg float64) string {
	return fmt.Sprintf("the probe tipped by %.1f degrees while the load was switched", deg)
}

func msgLinkLost(during string) string {
	if during == "" {
		return "the link to the probe is gone; the walk waits for it"
	}
	return "the link to the probe was lost during the dwell"
}

func msgWrongMark(here, better string) string {
	return fmt.Sprintf("the reading at %s fits %s better: was the probe on the right mark? redo %[1]s if not", here, better)
}

func msgSwapped(here, other string) string {
	return fmt.Sprintf("the readings at %s and %s fit each other's place better: were the marks confused? redo %[1]s and redo %[2]s if so", here, other)
}

func msgTurned(here string, deg int) string {
	if deg == 180 {
		return fmt.Sprintf("the arrow seems backwards at %s: it should point at the nose; redo %[1]s if so", here)
	}
	side := "right"
	if deg < 0 {
		side = "left"
	}
	return fmt.Sprintf("the arrow seems to point to the %s at %s: it should point at the nose; redo %[2]s if so", side, here)
}

func msgLifted(here string) string {
	return fmt.Sprintf("the reading at %s shows far less of the craft than its neighbours do: was the probe lifted off the surface? redo %[1]s if so", here)
}

func msgBaseField(base string, byUT float64) string {
	return fmt.Sprintf("the field's strength at the base changed by %.1f uT since the last return: the room changed or something magnetic was moved; redo %s to make sure", byUT, base)
}

func msgBaseMoved(base string, byDeg float64) string {
	return fmt.Sprintf("the field's direction at the base turned by %.0f degrees since the last return: the probe stands otherwise or the base moved; redo %s to make sure", byDeg, base)
}

func msgMagnitude(gotUT, wantUT float64) string {
	return fmt.Sprintf("the field here is %.1f uT strong, the reference says %.1f uT: check the probe's units, or something magnetic is near", gotUT, wantUT)
}

const (
	msgDipSign  = "the field points up where the reference says down, or down where it says up: the probe's axes are mapped wrongly or it lies upside down"
	msgMirrored = "the field fits the nose's direction only seen in a mirror: the probe's y axis seems to have the wrong sign"
)

const msgNotMoved = "the probe seems to stand where it was: move it to the next station, or capture by command if it is there already"

func msgStoreFailed(err error) string {
	return fmt.Sprintf("the capture could not be saved: %v; nothing that was acknowledged is lost; put that right, then capture again to save this one, or stop", err)
}

// ChecklistFor gives what is to be confirmed before the first station: what
// is fitted, and the cautions for this state.
func ChecklistFor(craft *survey.Craft, state string, pulsed bool) (fitted, cautions []string) {
	if craft == nil {
		return nil, nil
	}
	switch state {
	case survey.StateBackground:
		return nil, []string{
			"The craft, its packs and its tools are away; the measuring board and the base stay.",
			msgClear,
		}
	case survey.StateUnpowered:
		return fittedItems(craft), []string{
			"The craft is in its place, everything on it is off.",
			msgClear,
		}
	}
	return fittedItems(craft), append(loadCautions(craft, state, pulsed), msgClear)
}

const msgClear = "Laptop, phone, watch, transmitter, tools and steel are half a metre away, and what cannot go stays put."

func fittedItems(craft *survey.Craft) []string {
	items := make([]string, 0, len(craft.Body.Fitted))
	for _, f := range craft.Body.Fitted {
		items = append(items, "Fitted: "+f+".")
	}
	return items
}

// loadCautions are the cautions for running a load on the bench.
func loadCautions(craft *survey.Craft, name string, pulsed bool) []string {
	items := []string{"The craft is tied down, and one hand is free for the cut-off."}
	moving := false
	for _, l := range craft.Loads {
		moving = moving || strings.EqualFold(l.Name, name) && l.Kind == survey.LoadMoving
	}
	if moving {
		items = append(items,
			"Fingers, leads and the probe are clear of what moves.",
			"Servos are not driven into their stops.")
	} else {
		items = append(items,
			"Propellers are off (a reversed one is not safe either) and wheels are off the ground.",
			"A motor without its propeller is not run at full throttle for long; a water-cooled one runs only for seconds in air.",
			"A radio or video sender has its antenna on, and air if it runs for long.")
	}
	items = append(items, "Batteries are handled as their maker says.")
	if pulsed {
		items = append(items, "The probe rests by itself (putty, a bag of rice, tape), arrow to the nose, so that both hands are free for the switch.")
	}
	return items
}
