package link_test

import (
	"context"
	"fmt"
	"strings"

	"quietmount/survey/link"
)

// A stream recorded from a board that prints the field in gauss.
func ExampleOpenReplay() {
	log := strings.Repeat("X: 0.21g  Y: -0.03g  Z: 0.42g\n", 50)
	src, err := link.OpenReplay(strings.NewReader(log), "log.txt", link.ReplayOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer src.Close()
	for range 3 {
		item, err := src.Next(context.Background())
		if err != nil {
			fmt.Println(err)
			return
		}
		switch item.Kind {
		case link.Remark:
			fmt.Println(item.Says.Code)
		case link.Reading:
			fmt.Printf("%.2f s: %.0f %.0f %.0f uT\n", item.TS, item.Sample.B.X, item.Sample.B.Y, item.Sample.B.Z)
		}
	}
	// Output:
	// link.shape
	// 0.00 s: 21 -3 42 uT
	// 0.02 s: 21 -3 42 uT
}
