package main

import (
	"math/big"

	"ohmgate/interlock/site/quantity"
)

// Limits of what can be noted of the air at a bench: what people work in, in °C, and what a share of saturation can be.
var (
	coldest, hottest = big.NewRat(-40, 1), big.NewRat(60, 1)
	driest, wettest  = big.NewRat(0, 1), big.NewRat(1, 1)
)

// ambient refuses a temperature or a humidity that no sheet should carry.
func (o *rigOptions) ambient() error {
	for _, one := range []struct {
		flag, text  string
		dimension   quantity.Dimension
		least, most *big.Rat
		instead     string
	}{
		{"--temperature", o.temperature, quantity.Temperature, coldest, hottest, "-40 to 60 °C, such as \"21 °C\""},
		{"--humidity", o.humidity, quantity.Ratio, driest, wettest, "0 to 100 %, such as \"45 %\""},
	} {
		if one.text == "" {
			continue
		}
		value, wrong := quantity.Single(one.text, one.dimension)
		if wrong != nil {
			return failed(exitInput, "%s: %w", one.flag, wrong)
		}
		if value.Cmp(one.least) < 0 || value.Cmp(one.most) > 0 {
			return failed(exitInput, "%s %q cannot be at a bench; write a value of %s", one.flag, one.text, one.instead)
		}
	}
	return nil
}
