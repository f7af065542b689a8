package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"
	"rsc.io/qr"

	"quietmount/report/live"
	"quietmount/report/words"
	"quietmount/survey/craftfile"
	"quietmount/survey/link"
	"quietmount/survey/progress"
)

// How long an address lets a browser in.
const (
	addressValid = 10 * time.Minute
	lanValid     = 5 * time.Minute
)

func runBench(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return withHint(fmt.Errorf("no folder %s", dir), "make one with: quietmount init %s", words.Quote(dir))
	}
	if _, err := decodeOptions(c, sh, nil); err != nil {
		return err
	}
	listeners, hosts, err := benchListeners(c)
	if err != nil {
		return err
	}
	server, err := live.New(benchOptions(c, sh, dir, hosts))
	if err != nil {
		return errors.Join(err, closeAll(listeners))
	}
	ctx, stop := context.WithCancel(c.Context)
	defer stop()
	go benchAddresses(ctx, c, sh, server, hosts)
	err = server.Serve(ctx, listeners...)
	say(sh.Err, "quietmount: the bench is closed; what was saved stays saved")
	return err
}

// benchOptions returns the page's access to the system.
func benchOptions(c *cli.Context, sh shell, dir string, hosts []string) live.Options {
	return live.Options{
		Dir: dir, Tool: version(), Hosts: hosts, Now: sh.Now, Token: rand.Text,
		Job:   func() (*progress.Job, error) { return jobOf(c.Context, dir) },
		Ports: link.Ports,
		Open: func(ctx context.Context, port string, baud int) (link.Source, error) {
			return benchSource(ctx, c, sh, dir, port, baud)
		},
		Port: benchPort(c), Baud: c.Int("baud"),
	}
}

// benchPort returns the port or recording to open at once: that of the flags, else
// the only board; empty: it is chosen on the page.
func benchPort(c *cli.Context) string {
	if file := c.String("replay"); file != "" {
		return file
	}
	if port := c.String("port"); port != "" {
		return port
	}
	only, err := onlyPort()
	if err != nil {
		return "" // none, or several to choose from
	}
	return only
}

// benchSource opens a port with the flags of the command line; a recording is
// played at the recorded intervals.
func benchSource(ctx context.Context, c *cli.Context, sh shell, dir, port string, baud int) (link.Source, error) {
	craft, err := craftfile.Load(dir)
	if err != nil {
		craft = nil // the description may still be being written
	}
	o, err := decodeOptions(c, sh, craft)
	if err != nil {
		return nil, err
	}
	if file := c.String("replay"); file != "" && file == port {
		f, err := os.Open(file)
		if err != nil {
			return nil, err
		}
		return link.OpenReplay(f, file, link.ReplayOptions{Decode: o, Realtime: true, Now: sh.Now})
	}
	return link.Open(ctx, link.PortOptions{Name: port, Baud: baud, Now: sh.Now, Decode: o, Open: sh.OpenPort})
}

// benchListeners listens on this machine and, if asked, on one more address with
// the same port. hosts are the names under which a browser may ask.
func benchListeners(c *cli.Context) (listeners []net.Listener, hosts []string, err error) {
	port := c.Int("listen-port")
	if port < 0 || port > 65535 {
		return nil, nil, wrong("leave it out for any that is free", "--listen-port %d: from 1 to 65535", port)
	}
	lan, err := lanAddress(c.String("lan"))
	if err != nil {
		return nil, nil, err
	}
	local, err := net.Listen("tcp4", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
	if err != nil {
		return nil, nil, withHint(fmt.Errorf("listen on this machine: %w", err), "leave --listen-port out for any port that is free")
	}
	got := strconv.Itoa(local.Addr().(*net.TCPAddr).Port)
	listeners, hosts = []net.Listener{local}, []string{"127.0.0.1:" + got, "localhost:" + got}
	if lan == "" {
		return listeners, hosts, nil
	}
	second, err := net.Listen("tcp", net.JoinHostPort(lan, got))
	if err != nil {
		err = withHint(fmt.Errorf("--lan: %w", err), "it must be an address of this machine; your system's network settings show it")
		return nil, nil, errors.Join(err, local.Close())
	}
	return append(listeners, second), append(hosts, net.JoinHostPort(lan, got)), nil
}

// lanAddress accepts one plain address: listening on all of them would admit
// unintended networks.
func lanAddress(text string) (string, error) {
	if text == "" {
		return "", nil
	}
	a, err := netip.ParseAddr(text)
	switch {
	case err != nil:
		return "", wrong("e.g. --lan 192.0.2.7", "--lan %q is no IP address", text)
	case a.IsUnspecified() || a.IsMulticast():
		return "", wrong("name the one address of the network that the second screen is on", "--lan %s stands for every network", text)
	case a.IsLoopback():
		return "", wrong("leave --lan out: the bench listens there anyway", "--lan %s is this machine itself", text)
	}
	return a.String(), nil
}

func closeAll(listeners []net.Listener) error {
	var all error
	for _, l := range listeners {
		all = errors.Join(all, l.Close())
	}
	return all
}

// benchAddresses prints where the page is, opens it, and prints a new address
// for every Enter.
func benchAddresses(ctx context.Context, c *cli.Context, sh shell, server *live.Server, hosts []string) {
	address := server.Address(hosts[0], addressValid)
	say(sh.Out, "The bench page: %s", address)
	if len(hosts) > 2 {
		sayLAN(sh, server.Address(hosts[2], lanValid))
	}
	say(sh.Err, "quietmount: the address lets one browser in, once; Enter prints a new one, Ctrl-C ends the bench")
	if !c.Bool("no-open") {
		if err := openBrowser(ctx, address); err != nil {
			say(sh.Err, "quietmount: no browser could be opened (%v): open the address yourself", err)
		}
	}
	for range lines(ctx, sh) {
		say(sh.Out, "The bench page: %s", server.Address(hosts[0], addressValid))
		if len(hosts) > 2 {
			sayLAN(sh, server.Address(hosts[2], lanValid))
		}
	}
}

// openBrowser asks the system to show an address.
func openBrowser(ctx context.Context, address string) error {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		cmd = exec.CommandContext(ctx, "rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		cmd = exec.CommandContext(ctx, "open", address)
	default:
		cmd = exec.CommandContext(ctx, "xdg-open", address)
	}
	if err := cmd.Start(); err != nil {
		if errors.Is(err, exec.ErrNotFound) || errors.Is(err, fs.ErrNotExist) {
			return errors.New("the system offers no way")
		}
		return err
	}
	go func() { _ = cmd.Wait() }() // a browser may stay for hours
	return nil
}

// sayLAN shows the address for a second screen, on a terminal also as a QR code,
// and warns that the link is not encrypted.
func sayLAN(sh shell, address string) {
	say(sh.Out, "For a second screen, within %.0f minutes: %s", lanValid.Minutes(), address)
	if code, err := qr.Encode(address, qr.L); err == nil && sh.Terminal.Out {
		say(sh.Out, "%s", qrText(code))
	}
	say(sh.Err, "quietmount: warning: the link to a second screen is plain HTTP: everybody on that network can read it, and who\n"+
		"quietmount: warning: listens in can send commands too; use it on a network that you trust")
}

// quietZone is the light margin that a QR code needs, in modules (ISO/IEC
// 18004; from memory).
const quietZone = 4

// qrText returns a QR code in half blocks, two rows per line. It always sets dark
// on light, even where colour is unwanted, since the code cannot be read
// otherwise.
func qrText(code *qr.Code) string {
	const dark, plain = "\x1b[30;107m", "\x1b[0m"
	var b strings.Builder
	for y := -quietZone; y < code.Size+quietZone; y += 2 {
		b.WriteString(dark)
		for x := -quietZone; x < code.Size+quietZone; x++ {
			b.WriteString(halves(code.Black(x, y), code.Black(x, y+1)))
		}
		b.WriteString(plain + "\n")
	}
	return b.String()
}

func halves(upper, lower bool) string {
	switch {
	case upper && lower:
		return "█"
	case upper:
		return "▀"
	case lower:
		return "▄"
	}
	return " "
}
