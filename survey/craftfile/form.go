package craftfile

import (
	"fmt"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey/number"
)

// Question is one question of a StarterForm.
type Question struct {
	Key     string        // "kind", "name", "length", "width", "latitude" or "longitude"
	Ask     remark.Remark // topic "starter"
	Default string        // what an empty answer means
}

// StarterForm asks for the options of a starter, one question at a time. It
// holds no terminal: show what Question returns, give the reply to Answer.
type StarterForm struct {
	options StarterOptions
	next    int
}

// NewStarterForm begins with what is known already; its fields are not asked
// for again.
func NewStarterForm(known StarterOptions) *StarterForm {
	f := &StarterForm{options: known}
	f.skip()
	return f
}

var starterQuestions = [...]string{"kind", "name", "length", "width", "latitude", "longitude"}

// Question returns the question to be asked now; false when all are answered.
func (f *StarterForm) Question() (Question, bool) {
	if f.next == len(starterQuestions) {
		return Question{}, false
	}
	q := Question{Key: starterQuestions[f.next]}
	shape, _ := starterShapeOf(f.options.Kind)
	switch q.Key {
	case "kind":
		q.Ask, q.Default = remark.New("starter.kind"), string(StarterMultirotor)
	case "name":
		q.Ask, q.Default = remark.New("starter.name"), "my "+string(f.options.Kind)
	case "length":
		q.Ask, q.Default = remark.New("starter.length"), number.Format(shape.lengthMM)+" mm"
	case "width":
		q.Ask, q.Default = remark.New("starter.width"), number.Format(shape.widthMM)+" mm"
	case "latitude":
		q.Ask, q.Default = remark.New("starter.latitude"), "later"
	case "longitude":
		q.Ask, q.Default = remark.New("starter.longitude"), "later"
	}
	return q, true
}

// Answer takes the reply to the present question and goes on; an empty reply
// is the default. An error says what is wrong with the reply, and the
// question stands.
func (f *StarterForm) Answer(reply string) error {
	q, ok := f.Question()
	if !ok {
		return fmt.Errorf("every question is answered")
	}
	reply = strings.TrimSpace(reply)
	if reply == "" {
		reply = q.Default
	}
	if err := f.take(q.Key, reply); err != nil {
		return err
	}
	f.next++
	f.skip()
	return nil
}

// Options returns the answers so far.
func (f *StarterForm) Options() StarterOptions { return f.options }

// skip passes over what is known.
func (f *StarterForm) skip() {
	for f.next < len(starterQuestions) && f.known(starterQuestions[f.next]) {
		f.next++
	}
}

func (f *StarterForm) known(key string) bool {
	o := f.options
	switch key {
	case "kind":
		return o.Kind != ""
	case "name":
		return o.Name != ""
	case "length":
		return o.LengthMM != 0
	case "width":
		return o.WidthMM != 0
	case "latitude":
		return o.LatitudeDeg != nil
	}
	return o.LongitudeDeg != nil || o.LatitudeDeg == nil // no place without a latitude
}

func (f *StarterForm) take(key, reply string) (err error) {
	switch key {
	case "kind":
		kind := StarterKind(strings.ToLower(reply))
		if _, err := starterShapeOf(kind); err != nil {
			return err
		}
		f.options.Kind = kind
	case "name":
		if why := nameFault(reply); why != "" {
			return fmt.Errorf("the name %s", why)
		}
		f.options.Name = reply
	case "length":
		f.options.LengthMM, err = starterSize(reply)
	case "width":
		f.options.WidthMM, err = starterSize(reply)
	case "latitude":
		f.options.LatitudeDeg, err = starterAngle(reply, "N", "S", 90)
	case "longitude":
		f.options.LongitudeDeg, err = starterAngle(reply, "E", "W", 180)
	}
	return err
}

func starterSize(reply string) (float64, error) {
	mm, err := ParseLength(reply)
	if err == nil && !(mm >= StarterMinMM && mm <= StarterMaxMM) {
		return 0, fmt.Errorf("%s mm is not within %d to %d mm", number.Format(mm), StarterMinMM, StarterMaxMM)
	}
	return mm, err
}

// starterAngle reads "53.3", "-9,1", "9.1 W" or "9.1° W"; nil for "later".
func starterAngle(reply, plus, minus string, most float64) (*float64, error) {
	if strings.EqualFold(reply, "later") {
		return nil, nil
	}
	s := strings.ToUpper(strings.ReplaceAll(reply, ",", "."))
	s, negative := strings.CutSuffix(s, minus)
	s = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(strings.TrimSuffix(s, plus)), "°"))
	deg, ok := number.Parse(s)
	if !ok || !(deg >= -most && deg <= most) || negative && deg < 0 {
		return nil, fmt.Errorf("%q is no angle from -%g to %g degrees: write 53.3, or 9.1 W", short(reply), most, most)
	}
	if negative {
		deg = -deg
	}
	return &deg, nil
}
