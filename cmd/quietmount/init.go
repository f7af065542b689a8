package main

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"quietmount/report/words"
	"quietmount/survey/craftfile"
)

func runInit(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	o, err := starterOptions(c)
	if err != nil {
		return err
	}
	name := filepath.Join(dir, craftfile.Name)
	if _, err := os.Lstat(name); err == nil {
		return withHint(fmt.Errorf("%s is there already and is left as it is", name), "quietmount verify %s reads it", words.Quote(dir))
	}
	if sh.Terminal.In && c.NumFlags() == 0 {
		if o, err = askStarter(o, sh); err != nil {
			return err
		}
	}
	if o.Kind == "" {
		return wrong("e.g. quietmount init --kind hull", "which kind? --kind is wing, multirotor or hull")
	}
	text, err := craftfile.Starter(o)
	if err != nil {
		return wrong("see: quietmount init --help", "%v", err)
	}
	if err := createFile(dir, name, text); err != nil {
		return err
	}
	say(sh.Out, "%s is written. Put your numbers in, above all where it says REPLACE, then look at it:", name)
	say(sh.Out, "    quietmount verify %s --picture %s", words.Quote(dir), words.Quote(filepath.Join(dir, "description.png")))
	return nil
}

func starterOptions(c *cli.Context) (craftfile.StarterOptions, error) {
	o := craftfile.StarterOptions{
		Kind: craftfile.StarterKind(c.String("kind")), Name: c.String("name"),
		LatitudeDeg: optionalFloat(c, "lat"), LongitudeDeg: optionalFloat(c, "lon"),
	}
	for _, size := range []struct {
		flag string
		mm   *float64
	}{{"length-mm", &o.LengthMM}, {"width-mm", &o.WidthMM}} {
		text := c.String(size.flag)
		if text == "" {
			continue
		}
		mm, err := craftfile.ParseLength(text)
		if err != nil {
			return o, wrong("e.g. --"+size.flag+" 700 or --"+size.flag+" 27.5in", "--%s: %v", size.flag, err)
		}
		*size.mm = mm
	}
	return o, nil
}

// askStarter asks for each missing value on a line of its own.
func askStarter(known craftfile.StarterOptions, sh shell) (craftfile.StarterOptions, error) {
	form := craftfile.NewStarterForm(known)
	lines := bufio.NewScanner(sh.In)
	for q, ok := form.Question(); ok; q, ok = form.Question() {
		fmt.Fprintf(sh.Err, "%s [%s] ", words.Terminal.Say(q.Ask), q.Default)
		if !lines.Scan() {
			return known, errors.New("the answers ended early: nothing was written")
		}
		if err := form.Answer(lines.Text()); err != nil {
			say(sh.Err, "  %v", err)
		}
	}
	return form.Options(), nil
}

// createFile writes a new file and refuses one that exists.
func createFile(dir, name string, text []byte) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already and is left as it is", name)
	}
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}
