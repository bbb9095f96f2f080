//! What is required of a pre-charge, and what an engineer must know about it.

use super::input::{LoadKind, PrechargeInput, at_pack};
use super::output::{PrechargeOutput, PrechargePlace};
use super::places::waking;
use super::ratings;
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::physics::precharge::course::Draw;
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, henry, joule, ohm, percent, say_change, second, volt, watt,
};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let judged = Judging { input, result };
    judged.time(to);
    if input.circuit().draw != Draw::Nothing {
        judged.reaches(to);
    }
    ratings::requirements(input, result, to);
    closing(input, result, to);
    early(input, result, to);
    judged.awake(to);
    plausible(input, result, to);
    let charge = &result.charge;
    let more = input.load.bleeder_ohm.filter(|bleeder| *bleeder < input.load.resistance_ohm);
    let more = more.filter(|_| input.load.kind == LoadKind::Resistive);
    to.note("precharge.bleeder-counts", "/load/bleeder_ohm", more.is_some(), || {
        let [bleeder, load] = [more.unwrap_or_default(), input.load.resistance_ohm].map(ohm);
        format!("The bleeder of {bleeder} alone draws more than the load resistance of {load}: it counts in its place.")
    });
    let equal = input.start_v == input.pack_v;
    to.note("precharge.equal-voltages", "/start_v", equal, || {
        "Link and pack are at the same voltage: nothing flows, and there is nothing to charge.".into()
    });
    to.note("precharge.already-reached", "/start_v", !equal && input.start_v >= charge.target_v, || {
        format!("The link starts at {}, the target is {}.", volt(input.start_v), volt(charge.target_v))
    });
    to.note("precharge.link-above-pack", "/start_v", input.start_v > input.lowest_v(), || {
        format!(
            "The link starts at {}, above a pack of {}: the current flows backwards through the resistor, {} at most.",
            volt(input.start_v),
            volt(input.lowest_v()),
            ampere((input.start_v - input.lowest_v()) / input.resistances()[0])
        )
    });
}

const LABEL: &str = "The load does not hold the link where it wakes";

/// The input with what is judged of it.
struct Judging<'a> {
    input: &'a PrechargeInput,
    result: &'a PrechargeOutput,
}

impl Judging<'_> {
    /// The constant power of the load, when it is more than any equilibrium gives.
    fn collapses(&self, place: &PrechargePlace) -> Option<f64> {
        match self.input.circuit().draw {
            Draw::Power(power) if power > place.limits.collapse_power_w => Some(power),
            _ => None,
        }
    }

    /// The end of a note: the pack voltage when there is a range.
    fn at(&self, place: &PrechargePlace) -> String {
        self.input.pack_min_v.map_or_else(String::new, |_| format!(", {}", at_pack(place.pack_v)))
    }

    /// The beginning of a sentence: the pack voltage when there is a range.
    fn start(&self, place: &PrechargePlace, plain: &str, after: &str) -> String {
        match self.input.pack_min_v {
            Some(_) => format!("At a pack voltage of {}{after}", volt(place.pack_v)),
            None => plain.into(),
        }
    }

    /// What the readings need of the true link voltage.
    fn needs(&self, place: &PrechargePlace) -> String {
        let input = self.input;
        let [link, pack] = input.errors_v().map(|error| volt(error.unwrap_or(0.0)));
        let needed = volt(place.charge.target_v);
        format!("with the link reading {link} low and the pack {pack} high, {} is seen at {needed} only", input.rule())
    }

    /// Why the main contactor never closes for certain.
    fn never(&self, place: &PrechargePlace) -> String {
        let input = self.input;
        let PrechargePlace { charge, limits, .. } = place;
        let none = !input.closing().possible(place.pack_v);
        if none || (charge.target_v >= place.pack_v && input.start_v < charge.target_v) {
            return format!(
                "{}{}: the errors take more than the gap. Read the difference with one channel across the contactor, or cross-calibrate the two at equal voltage.",
                self.start(place, "", ", "),
                self.needs(place)
            );
        }
        let allowed = match input.circuit().draw {
            Draw::Resistance(_) => limits.smallest_load_ohm.map(|least| format!("at least {}", ohm(least))),
            Draw::Current(_) => Some(format!("at most {}", ampere(limits.largest_current_a))),
            _ => Some(format!("at most {}", watt(limits.largest_power_w))),
        };
        let allowed =
            allowed.map_or_else(String::new, |allowed| format!(" With this resistor {allowed} would be allowed."));
        let collapses =
            self.collapses(place).map_or_else(String::new, |power| format!(" {}", self.collapse(place, power)));
        // Where it would do for right readings, the errors tell why it does not.
        let there = charge.settle_v >= input.closing().nominal_v(place.pack_v);
        let needs =
            if there { format!("{}: it", self.needs(place)) } else { format!("the target of {}", input.rule()) };
        format!(
            "{}ink {} at {}, {} of the pack{} {needs} is never reached, and the resistor loses {} there.{allowed}{collapses}",
            self.start(place, "The l", ", the l"),
            if charge.hangs { "hangs" } else { "settles" },
            volt(charge.settle_v),
            percent(charge.settle_percent),
            if there { "," } else { ":" },
            watt(charge.settle_power_w)
        )
    }

    /// That a constant power is more than any equilibrium gives.
    fn collapse(&self, place: &PrechargePlace, power_w: f64) -> String {
        format!(
            "{}{} is more than V²/(4 R) = {}{}: there is no equilibrium. The link falls back to {}, where the load sleeps, rises and falls back again.",
            self.start(place, "", ", "),
            watt(power_w),
            watt(place.limits.collapse_power_w),
            if self.input.circuit().bleeder_ohm.is_finite() {
                " of what the bleeder leaves of pack and resistor"
            } else {
                ""
            },
            volt(self.input.load.enable_v)
        )
    }

    fn time(&self, to: &mut Ledger) {
        let (input, place) = (self.input, &self.result.slowest);
        let (id, limit) = ("precharge.time", input.max_time_s);
        let one = |limit| Judged::at_most(id, "/max_time_s", Unit::Second, place.charge.time_s, limit);
        to.require(rests_on_errors(input, "/max_time_s", Some(limit), one), |_| {
            let (target, at) = (input.rule(), self.at(place));
            let Some(time) = place.charge.time_s else {
                return Words::new("Time to the target", format!("to {target}: never{at}"), self.never(place));
            };
            let failure = format!(
                "{}he target takes {}: {}. The attempt is given up after {} at {}.",
                self.start(place, "T", ", t"),
                second(time),
                self.needs(place),
                second(limit),
                volt(place.charge.time_out_v)
            );
            let note = format!("to {target}, readings on their bad sides{at}");
            Words::new("Time to the target", note, failure)
        });
    }

    /// What the load takes at the certain closing against what the resistor still delivers there.
    fn reaches(&self, to: &mut Ledger) {
        let place = &self.result.heaviest;
        let circuit = self.input.circuit_at(place.pack_v, place.resistance_ohm);
        let pointer = match circuit.draw {
            Draw::Nothing => "/load/kind",
            Draw::Resistance(_) => self.input.resistance_at(),
            Draw::Current(_) => "/load/current_a",
            Draw::Power(_) => "/load/power_w",
        };
        let charge = &place.charge;
        let delivers = circuit.offers_a(charge.target_v);
        let takes = if circuit.wake_v() > charge.target_v { 0.0 } else { circuit.load_a(charge.target_v) };
        let takes = if charge.target_v <= self.input.start_v || charge.reaches || takes > delivers {
            Some(takes).filter(|_| delivers > 0.0)
        } else {
            None
        };
        let id = "precharge.reaches";
        let judged = if charge.reaches && (delivers <= 0.0 || charge.time_s == Some(0.0)) {
            // The link stands at its target or above: nothing is asked of the resistor.
            Judged::never(id, pointer, false)
        } else {
            let one = |limit| Judged::at_most(id, pointer, Unit::Ampere, takes, limit);
            // Beyond where it settles it delivers nothing.
            rests_on_errors(self.input, pointer, Some(delivers.max(0.0)), one)
        };
        to.require(judged, |_| {
            let beside = if circuit.bleeder_ohm.is_finite() { ", beside the bleeder" } else { "" };
            let note = format!("settles at {}{beside}{}", percent(charge.settle_percent), self.at(place));
            Words::new("Load at the target against what the resistor delivers there", note, self.never(place))
        });
    }

    /// The load against the voltage at which it wakes.
    fn awake(&self, to: &mut Ledger) {
        let (input, heaviest) = (self.input, &self.result.heaviest);
        // It may be another pack voltage at which the load just holds the link.
        let holds = |place: &&PrechargePlace| place.charge.hangs && !place.charge.reaches;
        if !matches!(input.circuit().draw, Draw::Power(_) | Draw::Current(_)) {
            return;
        }
        let others = waking(input, self.result.slowest);
        let all = self.result.stall.into_iter().chain([*heaviest]).chain(others);
        let mut hangs = false;
        let all = all.inspect(|place| hangs |= place.charge.hangs);
        let place = &all.into_iter().find(|place| holds(&place)).unwrap_or(*heaviest);
        let PrechargePlace { charge, limits, .. } = place;
        let circuit = input.circuit_at(place.pack_v, place.resistance_ohm);
        let enable = volt(input.load.enable_v);
        let collapses = self.collapses(place);
        let held = holds(&place);
        let (id, at) = ("precharge.held-where-it-wakes", "/load/enable_v");
        let judged = match input.unknown_error() {
            // It would close before, if the readings were right.
            Some(error) if hangs && !held => Judged::at_most(id, at, Unit::Volt, None, Limit::Missing(error)),
            _ => Judged::never(id, at, held),
        };
        to.require(judged, |_| {
            if let Some(power) = collapses {
                return Words::new(LABEL, format!("it wakes at {enable}"), self.collapse(place, power));
            }
            let below = limits.lower_v.filter(|lower| charge.settle_v <= *lower);
            let failure = match (below, circuit.balance_v()) {
                (Some(lower), _) => format!(
                    "The load wakes at {enable}, below the lower equilibrium of {0}: from there its current is more than the resistor delivers, and the link hangs. Let it wake above {0} only.",
                    volt(lower)
                ),
                (None, Some(balance)) => {
                    let [wakes, settles] = say_change(input.load.enable_v, balance, Unit::Volt);
                    let place = if wakes == settles {
                        "just where it would settle".into()
                    } else {
                        format!("above the {settles} at which it would settle")
                    };
                    format!(
                        "The load wakes at {wakes}, {place}: it pulls the link back to {wakes}, sleeps and wakes again."
                    )
                }
                (None, None) => format!(
                    "The load takes all that the resistor delivers: the link never rises above {}.",
                    volt(charge.settle_v)
                ),
            };
            Words::new(LABEL, format!("it wakes at {enable}"), failure)
        });
        if let Some(power) = collapses.filter(|_| charge.reaches) {
            to.remark(|| {
                let (message, most) = (self.collapse(place, power), limits.collapse_power_w);
                Finding::new(Severity::Warn, "precharge.collapses", message).at("/load/power_w").against(power, most)
            });
        }
        let charge = &self.result.charge;
        let never = input.load.enable_v >= input.pack_v;
        to.note("precharge.load-never-wakes", "/load/enable_v", never, || {
            let pack = volt(input.pack_v);
            format!("The load wakes at {enable}, the pack has {pack}: it never wakes, and the link charges without it.")
        });
        let late = !never && input.load.enable_v >= charge.target_v;
        to.note("precharge.load-wakes-late", "/load/enable_v", late, || {
            format!(
                "The load wakes at {enable}, above the target of {}: close the main contactor before it does, or the link {} at {}.",
                volt(charge.target_v),
                if charge.hangs { "hangs" } else { "settles" },
                volt(charge.settle_v)
            )
        });
    }
}

/// A row whose number grows with the errors of the readings: without them it may fail, but it does not hold.
fn rests_on_errors(
    input: &PrechargeInput,
    pointer: &'static str,
    limit: Option<f64>,
    judged: impl Fn(Limit) -> Judged,
) -> Judged {
    let Some(limit) = limit else { return judged(Limit::Missing(pointer)) };
    judged(Limit::Given(limit)).without(input.unknown_error())
}

fn closing(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let (difference, inrush) = (&result.difference, &result.inrush);
    let (a2s, making) = (input.path.contactor_inrush_a2s, input.path.contactor_making_a);
    let which = || {
        let over = if difference.backwards { ", the link above the pack" } else { "" };
        format!("{}{over}", volt(difference.largest_v))
    };
    let note = "at the largest true difference";
    let flows = inrush.a2s > 0.0 || input.unknown_error().is_some();
    if a2s.is_some() || flows {
        let (id, at) = ("precharge.inrush", "/path/contactor_inrush_a2s");
        let one = |limit| Judged::at_most(id, at, Unit::AmpereSquaredSecond, inrush.a2s, limit);
        to.require(rests_on_errors(input, at, a2s, one), |_| {
            let failure = format!(
                "Closing at a true difference of {} makes {}; the contactor takes {}, that is a difference of {}.",
                which(),
                ampere_squared_second(inrush.a2s),
                ampere_squared_second(a2s.unwrap_or(0.0)),
                volt(inrush.allowed_v.unwrap_or(0.0))
            );
            Words::new("I²t when the main contactor closes", note, failure)
        });
    }
    if making.is_some() || flows {
        let (id, at) = ("precharge.making-current", "/path/contactor_making_a");
        let one = |limit| Judged::at_most(id, at, Unit::Ampere, inrush.peak_a, limit);
        to.require(rests_on_errors(input, at, making, one), |_| {
            let failure = format!(
                "Closing at a true difference of {} makes {}; the contactor may close on {}.",
                which(),
                ampere(inrush.peak_a),
                ampere(making.unwrap_or(0.0))
            );
            Words::new("Current when the main contactor closes", note, failure)
        });
    }
    joins(input, result, to);
    let [nominal, low, high] = [difference.nominal_percent, difference.low_percent, difference.high_percent];
    let unknown = input.errors_v().iter().all(Option::is_none);
    to.note("precharge.no-channel-errors", "/link_error_percent", unknown, || {
        "The errors of the voltage channels are not given: what rests on them is not judged, and the true difference is shown as the nominal one.".into()
    });
    let hidden = difference.error_percent > 0.0 && low > 0.0;
    to.note("precharge.true-difference", "/target_percent", hidden, || {
        let [reading, low, high] = [nominal, low, high].map(percent);
        let most = volt(difference.high_v);
        format!("A reading of {reading} may hide a true difference of {low} to {high}, up to {most}.")
    });
    to.note("precharge.no-inductance", "/path/inductance_henry", input.path.inductance_henry == 0.0, || {
        let peak = Quantity::new(inrush.peak_a, Unit::Ampere);
        format!("Without inductance the inrush begins at its peak of {peak}: an upper bound.")
    });
}

/// A unit that joins others: what flows between the batteries, against what the contactor may close on.
fn joins(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let Some(joining) = &result.joining else { return };
    let (making, (apart_v, said)) = (input.path.contactor_making_a, input.apart_v());
    let (id, at) = ("precharge.joins", "/path/contactor_making_a");
    let one = |limit| Judged::at_most(id, at, Unit::Ampere, joining.current_a, limit);
    let judged = match rests_on_errors(input, at, making, one) {
        judged if !said && (judged.fails() || apart_v <= 0.0) => one(Limit::Missing("/units_apart_v")),
        judged => judged,
    };
    to.require(judged, |_| {
        let (difference, current) = (volt(joining.difference_v), ampere(joining.current_a));
        let which = if joining.backwards { "above" } else { "below" };
        let failure = format!(
            "The others on the bus may lie {difference} {which} a unit that joins them: {current} flow between the batteries until they are level; the contactor may close on {}.",
            ampere(making.unwrap_or(0.0))
        );
        let note = format!("the bus {difference} {which} the unit, until both are level");
        Words::new("Current when a unit joins the others", note, failure)
    });
}

/// Numbers that no built pre-charge has: mostly a prefix that slipped. Ranges are common practice, no source.
fn plausible(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let rc = result.time_constant_s;
    let short = result.short.power_w;
    let own = second(rc);
    to.warn("precharge.implausible-time-constant", "/capacitance_farad", !(1e-3..=30.0).contains(&rc), || {
        format!("Resistor and capacitance make a time constant of {own}. Is a prefix wrong?")
    });
    let slow = input.max_time_s > 1e3 * rc || input.max_time_s < 0.5 * rc;
    to.warn("precharge.implausible-time-out", "/max_time_s", slow, || {
        format!("The time-out is {}, the time constant {own}. Is a prefix wrong?", second(input.max_time_s))
    });
    let peak = result.attempt.peak_a;
    to.warn("precharge.implausible-current", "/resistance_ohm", !(0.05..=500.0).contains(&peak), || {
        format!("The resistor lets {} pass at the start. Is a prefix wrong?", ampere(peak))
    });
    to.warn("precharge.implausible-power", "/resistance_ohm", short > 500e3, || {
        format!("A shorted link puts {} on the resistor. Is a prefix wrong?", watt(short))
    });
    let stored = result.stored_j;
    to.warn("precharge.implausible-energy", "/capacitance_farad", !(0.05..=50e3).contains(&stored), || {
        format!("The charged link holds {}. Is a prefix wrong?", joule(stored))
    });
    if let Some(pulse) = input.resistor.pulse_j {
        let strange = pulse > 1e3 * result.short.energy_j || pulse < 0.02 * result.attempt.energy_j;
        to.warn("precharge.implausible-pulse", "/resistor/pulse_j", strange, || {
            let (rated, one) = (joule(pulse), joule(result.attempt.energy_j));
            format!("The resistor is rated {rated}, one attempt puts {one} in it. Is a prefix wrong?")
        });
    }
    let making = result.inrush.bound_a;
    to.warn(
        "precharge.implausible-path",
        "/path/resistance_ohm",
        making > 50e3 || input.path.resistance_ohm > input.resistance_ohm,
        || {
            let path = ohm(input.path.resistance_ohm);
            format!(
                "The path of the main contactor is {path}: it would close on up to {}. Is a prefix wrong?",
                ampere(making)
            )
        },
    );
    let ringing = input.path.inductance_henry / input.path.resistance_ohm;
    to.warn("precharge.implausible-inductance", "/path/inductance_henry", ringing > 1e-3, || {
        format!("The path of the main contactor has a time constant L/R of {}. Is a prefix wrong?", second(ringing))
    });
    let repeat = input.resistor.repeat_s;
    to.warn("precharge.implausible-repetition", "/resistor/repeat_s", repeat > 1e4, || {
        format!("The next attempt begins after {}. Is a prefix wrong?", second(repeat))
    });
    if let Some(check) = input.check_s {
        to.warn("precharge.implausible-check", "/check_s", check < 1e-3 * rc, || {
            format!("The early check comes after {}, the time constant is {own}. Is a prefix wrong?", second(check))
        });
    }
    for (at, error) in [("/link_error_v", input.errors_v()[0]), ("/pack_error_v", input.errors_v()[1])] {
        let error = error.filter(|error| *error > 0.0 && *error < 5e-5 * input.pack_v);
        to.warn("precharge.implausible-error", at, error.is_some(), || {
            format!("An error of {} is very small. Is a prefix wrong?", volt(error.unwrap_or_default()))
        });
    }
    let loop_henry = input.path.inductance_henry;
    to.warn("precharge.implausible-loop", "/path/inductance_henry", loop_henry > 0.0 && loop_henry < 20e-9, || {
        format!("No path has as little as {}. Is a prefix wrong?", henry(loop_henry))
    });
    let (a2s, making) = (input.path.contactor_inrush_a2s, input.path.contactor_making_a);
    let strong = a2s.is_some_and(|limit| limit > 1e3 * result.inrush.a2s);
    to.warn("precharge.implausible-contactor", "/path/contactor_inrush_a2s", strong, || {
        let limit = ampere_squared_second(a2s.unwrap_or_default());
        format!(
            "The contactor takes {limit}, closing makes {}. Is a prefix wrong?",
            ampere_squared_second(result.inrush.a2s)
        )
    });
    let strong = making.is_some_and(|limit| limit > 200.0 * result.inrush.peak_a);
    to.warn("precharge.implausible-making", "/path/contactor_making_a", strong, || {
        let limit = ampere(making.unwrap_or_default());
        format!("The contactor may close on {limit}, {} flow. Is a prefix wrong?", ampere(result.inrush.peak_a))
    });
    let rated = input.resistor.power_w.filter(|rated| *rated > result.short.power_w);
    to.warn("precharge.implausible-rating", "/resistor/power_w", rated.is_some(), || {
        let rated = watt(rated.unwrap_or_default());
        format!("The resistor is rated {rated}, a shorted link makes {}. Is a prefix wrong?", watt(short))
    });
    let wanted = input.wanted_time_s.filter(|wanted| !(0.1 * rc..=input.max_time_s).contains(wanted));
    to.warn("precharge.implausible-wish", "/wanted_time_s", wanted.is_some(), || {
        format!("{} are wanted, the time constant is {own}. Is a prefix wrong?", second(wanted.unwrap_or_default()))
    });
    let light = match input.circuit().draw {
        Draw::Resistance(load) => load > 1e4 * input.resistance_ohm,
        Draw::Current(load) => load < 1e-5 * peak,
        Draw::Power(load) => load < 1e-5 * result.limits.collapse_power_w,
        Draw::Nothing => false,
    };
    to.note("precharge.load-is-nothing", "/load/kind", light, || {
        "The load takes so little that it changes nothing. Is a prefix wrong?".into()
    });
}

fn early(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let Some(early) = &result.early else { return };
    to.warn("precharge.check-too-early", "/check_s", !early.separates, || {
        let (time, expected) = (second(early.time_s), volt(early.expected_v));
        let part = early.earliest_s.map_or_else(String::new, |at| format!("; from {} on they part", second(at)));
        format!(
            "At {time} the link should read {expected}, within the channel's error of a link that does not charge at all{part}."
        )
    });
    to.warn("precharge.check-too-late", "/check_s", early.time_s >= input.max_time_s, || {
        format!("The early check lies at or after the time-out of {}.", second(input.max_time_s))
    });
}
