package review

import (
	"math"

	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// conductive is the conductivity above which a liquid carries its charge away,
// S/m (NFPA 77, 2000 ed.).
const conductive = 1e4 * charge.PicoSiemens

// conductivity is the lowest that the file or the liquid table gives, S/m; ok is
// false where nobody knows.
func conductivity(st *site.Stream) (lowest float64, ok bool) {
	if st.Conductivity.Set {
		return st.Conductivity.Lo, true
	}
	if l, found := charge.FindLiquid(st.Product); found {
		return l.Conductivity.Lo, true
	}
	return 0, false
}

// charging reports that a stream is a liquid that may hold charge.
func charging(st *site.Stream) bool {
	lowest, _ := conductivity(st)
	return st.Kind == "liquid" && lowest <= conductive
}

func perStream(ask func(s *subject, st *site.Stream, path string, say say)) func(*subject, say) {
	return func(s *subject, say say) {
		s.eachStream(func(st *site.Stream, path string) { ask(s, st, path, say) })
	}
}

// above compares with room for the rounding of a division.
func above(x, limit float64) bool { return x > limit*(1+1e-9) }

var streamRules = []Rule{
	{"R160", Must, "faster than any liquid should flow",
		"No rule allows more than 7 m/s.",
		byNFPA + "; TRGS 727 as explained by BG RCI, 3.29", seen, "a larger bore, or a slower pump",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if limit := charge.AnyLiquid(); st.Kind == "liquid" && above(st.Velocity.Hi, limit.Speed) {
				say(path+".velocity", "up to %.3g m/s", st.Velocity.Hi)
			}
		})},
	{"R161", Should, "faster than the rule for this vessel and bore",
		"Velocity times bore is limited: 0.5 m²/s for tank trucks and other vessels, 0.8 m²/s for rail cars (that number from memory).",
		byNFPA + " item 3; rail car: NFPA 77 / API RP 2003, from memory", seen, "a larger bore, or a slower pump",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if !charging(st) || !st.Velocity.Set || st.Bore.Lo <= 0 {
				return
			}
			rule := charge.TankTruck
			for _, name := range st.Charges {
				if o := word(s.Vessels[s.VesselIndex(name)].Object); o == "rail car" || o == "rail tank car" {
					rule = charge.RailTankCar
				}
			}
			if limit := rule(st.Bore.Hi); above(st.Velocity.Hi, limit.Speed) {
				say(path+".velocity", "up to %.3g m/s, %.3g m/s for %.0f mm (%s)", st.Velocity.Hi, limit.Speed, st.Bore.Hi*1e3, limit.Confidence)
			}
		})},
	{"R162", Should, "no slow start",
		"Until the inlet is covered by two bores the liquid splashes: at most 1 m/s.",
		byNFPA + " item 2", seen, "write slow_velocity of 1 m/s or less, and how it is kept",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if !charging(st) || !above(st.Velocity.Hi, 1) {
				return
			}
			if !st.SlowVelocity.Set {
				say(path, "%.3g m/s from the beginning", st.Velocity.Hi)
			} else if above(st.SlowVelocity.Hi, 1) {
				say(path+".slow_velocity", "slow is %.3g m/s", st.SlowVelocity.Hi)
			}
		})},
	{"R163", Should, "too short a way after a fine filter",
		"A fine filter charges liquid ten to two hundred times as much as a pipe; 30 s let most of it go.",
		byNFPA + " item 4", seen, "a relaxation tank or a longer or wider line: 30 s or more",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if charging(st) && st.Filter == "fine" && (!st.FilterBefore.Set || st.FilterBefore.Lo < charge.FilterResidence.Value.Lo) {
				if !st.FilterBefore.Set {
					say(path, "after_filter is not given")
				} else {
					say(path+".after_filter", "from %s", seconds(st.FilterBefore.Lo))
				}
			}
		})},
	{"R164", Note, "30 s are not enough for so poor a conductor",
		"Three relaxation times take longer; below 2 pS/m the charge itself drives the decay.",
		"relaxation time eps/sigma; 3 tau after a filter: ELS guide after IEC TS 60079-32-1", seen, "know it; see ohmgate margin for what is left",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			lowest, known := conductivity(st)
			if st.Kind != "liquid" || st.Filter != "fine" || !known || lowest <= 0 || !st.FilterBefore.Set || !st.Permittivity.Set {
				return
			}
			tau := charge.RelaxationTime(interval.Point(st.Permittivity.Hi), interval.Point(lowest)).Hi
			if 3*tau > st.FilterBefore.Lo {
				say(path+".after_filter", "3 relaxation times are %.0f s, from %s given", math.Ceil(3*tau), seconds(st.FilterBefore.Lo))
			}
		})},
	{"R165", Should, "nobody says what filter the liquid went through",
		"The margin then takes anything up to a fine filter.",
		"IEC TS 60079-32-1 / API RP 2003", unsure, "write filter: none, strainer or fine",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if st.Kind == "liquid" && st.Filter == "" {
				say(path, "filter is not given")
			}
		})},
	{"R166", Must, "two phases, and faster than 1 m/s",
		"Water or solids in the line charge far more than the liquid alone: 1 m/s throughout.",
		"ELS guide after IEC TS 60079-32-1", seen, "1 m/s throughout, or keep the second phase out",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if st.Phases == "with water or solids" && above(st.Velocity.Hi, charge.TwoPhase().Speed) {
				say(path+".velocity", "up to %.3g m/s %s", st.Velocity.Hi, st.Phases)
			}
		})},
	{"R167", Note, "two phases are not covered by the margin",
		"The figures are for the liquid alone.",
		"NFPA 77 (2000 ed.)", fromMemory, "know it",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if st.Phases == "with water or solids" && !above(st.Velocity.Hi, 1) {
				say(path+".phases", "%s", st.Phases)
			}
		})},
	{"R168", Should, "what is done to the powder is not in the table",
		"The widest row is taken: 0.1 to 1000 µC/kg.",
		"CLC TR 50404 family, Table 5", seen, "write operation: of the table, or charge_per_mass: or current:",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if _, known := charge.PowderCharge(st.Operation); st.Kind == "powder" && !known && !st.ChargePerKg.Set && !st.Current.Set {
				if st.Operation == "" {
					say(path, "neither operation nor charge_per_mass is given")
					return
				}
				say(path+".operation", "%q", st.Operation)
			}
		})},
	{"R169", Note, "nobody says what the product flows out of",
		"What is emptied is charged too, oppositely, and needs its own bond.",
		byTrade, practice, "write sender:",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if st.Sender == "" {
				say(path, "sender is not given")
			}
		})},
	{"R170", Should, "the sender has no memory of its charge",
		"It is a vessel that this stream charges oppositely, and is not listed under charges.",
		bySemantics, derived, "add it to charges:",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if s.VesselIndex(st.Sender) >= 0 && !has(st.Charges, st.Sender) {
				say(path+".sender", "%s is not in charges", st.Sender)
			}
		})},
	{"R171", Note, "whether water or solids flow along is not told",
		"They charge far more than the liquid alone.",
		"ELS guide after IEC TS 60079-32-1", seen, "write phases:",
		perStream(func(s *subject, st *site.Stream, path string, say say) {
			if st.Kind == "liquid" && st.Phases == "" {
				say(path, "phases is not given")
			}
		})},
}
