package link

import (
	"os"
	"path/filepath"
	"testing"
)

// A tree as the kernel's documentation describes it (Documentation/ABI,
// sysfs-tty and sysfs-bus-usb): a USB converter, a native USB board, an old
// UART that exists, one that is only reserved, and a console.
func TestSysfsPorts(t *testing.T) {
	root := t.TempDir()
	put := func(path, text string) {
		t.Helper()
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	link := func(name, device string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Join(root, "class", name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(filepath.Join(root, device), filepath.Join(root, "class", name, "device")); err != nil {
			t.Fatal(err)
		}
	}
	put("devices/usb1/1-1/idVendor", "1a2b\n")
	put("devices/usb1/1-1/idProduct", "7523\n")
	put("devices/usb1/1-1/product", "invented converter\n")
	put("devices/usb1/1-1/1-1:1.0/ttyUSB0/x", "")
	put("devices/usb1/1-2/idVendor", "2341\n")
	put("devices/usb1/1-2/idProduct", "8036\n")
	put("devices/usb1/1-2/serial", "S1\n")
	put("devices/usb1/1-2/1-2:1.0/x", "")
	put("devices/platform/serial8250/x", "")
	link("ttyUSB0", "devices/usb1/1-1/1-1:1.0/ttyUSB0")
	link("ttyACM0", "devices/usb1/1-2/1-2:1.0")
	link("ttyS0", "devices/platform/serial8250")
	link("ttyS1", "devices/platform/serial8250")
	put("class/ttyS0/type", "4\n")
	put("class/ttyS1/type", "0\n")
	put("class/tty1/dev", "4:1\n")
	got, err := sysfsPorts(filepath.Join(root, "class"))
	if err != nil {
		t.Fatal(err)
	}
	want := []PortInfo{
		{Name: "/dev/ttyACM0", USB: true, VID: "2341", PID: "8036", SerialNumber: "S1"},
		{Name: "/dev/ttyUSB0", USB: true, VID: "1A2B", PID: "7523", Product: "invented converter"},
		{Name: "/dev/ttyS0"},
	}
	got = tidyPorts(got)
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%+v, want %+v", got[i], want[i])
		}
	}
	if _, err := sysfsPorts(filepath.Join(root, "none")); err == nil {
		t.Error("a missing tree was taken")
	}
}
