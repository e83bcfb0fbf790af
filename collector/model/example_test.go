package model_test

import (
	"fmt"

	"lightwell/collector"
	"lightwell/collector/model"
)

func ExamplePoint_Decode() {
	models, err := model.Builtin()
	if err != nil {
		fmt.Println(err)
		return
	}
	rack, _ := models.Model("rack-dual-supply")
	light, _ := rack.Point(collector.Point{Quantity: collector.OpticalReceivePower})
	fmt.Println(light.Objects())
	for _, raw := range []int64{-712, -4000, -9999, 9000} {
		d := light.Decode([]model.Value{{Kind: model.Integer, Int: raw}}, 0)
		fmt.Printf("%d: %s, %g, %q\n", raw, d.Quality, d.Value, d.Note)
	}
	// Output:
	// [1.3.6.1.4.1.32473.7.1.2.1.0]
	// -712: good, -7.12, ""
	// -4000: good, -45, "no light"
	// -9999: broken, 0, "the unit says that its sensor is broken"
	// 9000: out_of_range, 0, "90 is outside -45 to 15 dBm"
}
