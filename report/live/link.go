package live

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"quietmount/report/answer"
	"quietmount/report/live/conduct"
	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey/link"
)

// linkView is what the link panel shows.
type linkView struct {
	State  conduct.ProbeState `json:"state"`
	Ports  []link.PortInfo    `json:"ports"`
	Bauds  []int              `json:"bauds"`
	Baud   int                `json:"baud"`
	Why    string             `json:"why"`    // why the ports could not be listed
	Listen *answer.Listen     `json:"listen"` // nil before some readings have come
	Text   string             `json:"text"`
}

func linkData(a asked) (any, error) {
	v := linkView{State: a.work.Probe.State(), Bauds: link.Bauds(), Baud: a.Baud}
	if v.State.Connected {
		v.Baud = v.State.Baud
	}
	ports, err := a.offeredPorts()
	if err != nil {
		v.Why = err.Error()
	}
	v.Ports = ports
	v.Listen = a.heard(a.Ctx)
	return v, nil
}

// simulated is the name of a simulated module's port in a craft folder.
const simulated = "port"

// offeredPorts returns the ports that a page may choose from: those of the system,
// the one named at the start, and a simulated module in the craft folder. A
// page cannot name any other file.
func (b *bench) offeredPorts() ([]link.PortInfo, error) {
	ports, err := b.Ports()
	add := func(name, what string) {
		if name != "" && !slices.Contains(portNames(ports), name) {
			ports = append(ports, link.PortInfo{Name: name, Product: what})
		}
	}
	add(b.Port, b.Words("link.named"))
	if file := filepath.Join(b.Dir, simulated); isDevice(file) {
		add(file, b.Words("link.simulated"))
	}
	return ports, err
}

func portNames(ports []link.PortInfo) []string {
	names := make([]string, len(ports))
	for i, p := range ports {
		names[i] = p.Name
	}
	return names
}

// isDevice reports whether a file is a character device, or a link to one as a
// simulated module is.
func isDevice(file string) bool {
	info, err := os.Stat(file)
	return err == nil && info.Mode()&fs.ModeCharDevice != 0
}

// fewReadings is the smallest number of readings that is judged.
const fewReadings = 20

// heard judges the readings of the last seconds; nil if they are too few.
func (b *bench) heard(ctx context.Context) *answer.Listen {
	samples, remarks := b.work.Probe.Recent()
	if len(samples) < fewReadings || !b.work.Probe.State().Connected {
		return nil
	}
	in := answer.ListenInput{
		Face: words.Page,
		Name: b.work.Probe.State().Port, Samples: samples, Remarks: remarks, Monitor: b.work.Probe.Monitor(), Now: b.Now(),
	}
	if f, err := b.Folder(ctx); err == nil {
		in.Craft = f.Craft
	}
	return new(answer.NewListen(in))
}

func linkConnect(a asked) (any, error) {
	if a.work.Busy() {
		return nil, errors.New(a.Words("link.walking"))
	}
	offered, _ := a.offeredPorts()
	port := a.Form.Raw("port")
	if !slices.Contains(portNames(offered), port) {
		return nil, serve.BadField("port", "%s", a.Words("link.which"))
	}
	baud, err := a.Form.Int("baud", a.Baud, 50, 10_000_000)
	if err != nil {
		return nil, err
	}
	if err := a.work.Probe.Connect(port, baud); err != nil {
		if hint := words.Hint(words.Page, err); hint != "" {
			return nil, serve.BadField("port", "%v; %s", err, hint)
		}
		return nil, serve.BadField("port", "%v", err)
	}
	return serve.Done{Say: a.Words("link.connected", port)}, nil
}

func linkDisconnect(a asked) (any, error) {
	if a.work.Busy() {
		return nil, errors.New(a.Words("link.walking"))
	}
	a.work.Probe.Disconnect()
	return serve.Done{Say: a.Words("link.closed")}, nil
}
