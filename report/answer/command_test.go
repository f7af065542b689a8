package answer

import (
	"testing"

	"quietmount/survey"
	"quietmount/survey/progress"
)

func TestCommandOfEachStep(t *testing.T) {
	motor, rudder := &survey.Load{Name: "left motor", Kind: survey.LoadCurrent}, &survey.Load{Name: "rudder", Kind: survey.LoadMoving}
	for _, tt := range []struct {
		step      progress.Step
		dir, want string
	}{
		{progress.Step{Kind: progress.Describe}, "new boat", `quietmount init "new boat"`},
		{progress.Step{Kind: progress.Describe, Done: true}, ".", "quietmount verify --picture description.png"},
		{progress.Step{Kind: progress.Calibrate}, ".", "quietmount calibrate --port PORT"},
		{progress.Step{Kind: progress.Axes, Calibration: "0001"}, "my craft", `quietmount arrow "my craft" --quick --store --calibration 0001 --port PORT`},
		{progress.Step{Kind: progress.Axes, Probe: true}, "", "quietmount arrow --quick --store --probe --port PORT"},
		{progress.Step{Kind: progress.Walk, State: "background"}, "boat", "quietmount survey boat --state background --port PORT"},
		{progress.Step{Kind: progress.Walk, State: "left motor", Load: motor, Most: 12}, "boat", `quietmount survey boat --state "left motor" --current-a AMPERES --pulsed --most 12 --port PORT`},
		{progress.Step{Kind: progress.Walk, State: "rudder", Load: rudder}, "boat", "quietmount survey boat --state rudder --pulsed --port PORT"},
		{progress.Step{Kind: progress.Walk, State: "rudder", Load: rudder, Most: 12, Resume: true}, "boat", "quietmount survey boat --state rudder --resume --port PORT"},
		{progress.Step{Kind: progress.Choose}, ".", "quietmount rank"},
		{progress.Step{Kind: progress.Prove, State: "left motor"}, ".", `quietmount prove --state "left motor" --port PORT`},
		{progress.Step{Kind: progress.Prove, Done: true}, ".", "quietmount prove"},
		{progress.Step{Kind: progress.Arrow}, ".", "quietmount arrow --port PORT"},
		{progress.Step{Kind: progress.OnCraft}, ".", "quietmount calibrate --on-craft --port PORT"},
		{progress.Step{Kind: progress.Swing, Calibration: "0002"}, ".", "quietmount swing --calibration 0002 --port PORT"},
		{progress.Step{Kind: progress.Swing, Calibration: "0002", Resume: true}, "b", "quietmount swing b --resume --port PORT"},
		{progress.Step{Kind: progress.Record}, ".", "quietmount record"},
	} {
		if got := Command(tt.step, tt.dir); got != tt.want {
			t.Errorf("%+v: %s, want %s", tt.step, got, tt.want)
		}
		if StepName(tt.step) == "" {
			t.Errorf("%+v has no name", tt.step)
		}
	}
}
