package link

import "testing"

func TestTidyPorts(t *testing.T) {
	got := tidyPorts([]PortInfo{{Name: "COM10"}, {Name: ""}, {Name: "/dev/tty.usb1"}, {Name: "/dev/cu.usb1", USB: true}, {Name: "COM9"}})
	want := []string{"/dev/cu.usb1", "COM9", "COM10"}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i := range want {
		if got[i].Name != want[i] {
			t.Errorf("place %d: %s, want %s", i, got[i].Name, want[i])
		}
	}
}
