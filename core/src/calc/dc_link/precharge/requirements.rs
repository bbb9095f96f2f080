//! What is required of a pre-charge, and what an engineer must know about it.

use super::course::{Circuit, Draw};
use super::input::PrechargeInput;
use super::output::{PrechargeCourse, PrechargeLimits, PrechargeOutput};
use crate::judge::{Judged, Ledger, Sense, Words};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, celsius, joule, ohm, percent, second, volt, watt,
};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let places = Places::new(input, result);
    time(input, &places, to);
    if places.highest.circuit.draw != Draw::Nothing {
        reaches(input, &places, to);
    }
    resistor(input, result, &places, to);
    closing(input, result, to);
    early(input, result, to);
    awake(input, &places, to);
    let charge = &result.charge;
    let equal = input.start_v == input.pack_v;
    to.note("precharge.equal-voltages", "/start_v", equal, || {
        "Link and pack are at the same voltage: nothing flows, and there is nothing to charge.".into()
    });
    to.note("precharge.already-reached", "/start_v", !equal && input.start_v >= charge.target_v, || {
        format!("The link starts at {}, the target is {}.", volt(input.start_v), volt(charge.target_v))
    });
}

/// A pack voltage with its course.
struct Place<'a> {
    circuit: Circuit,
    charge: &'a PrechargeCourse,
    limits: &'a PrechargeLimits,
}

impl Place<'_> {
    /// The constant power of the load, when it is more than any equilibrium gives.
    fn collapses(&self) -> Option<f64> {
        match self.circuit.draw {
            Draw::Power(power) if power > self.limits.collapse_power_w => Some(power),
            _ => None,
        }
    }
}

/// The pack voltages that are judged. Without a lowest one there is one place, and no need to name it.
struct Places<'a> {
    highest: Place<'a>,
    lowest: Option<Place<'a>>,
}

impl<'a> Places<'a> {
    fn new(input: &PrechargeInput, result: &'a PrechargeOutput) -> Self {
        let lowest = input.lowest_circuit().zip(result.lowest.as_ref());
        let place = |(circuit, lowest): (Circuit, &'a super::output::PrechargeLowest)| Place {
            circuit,
            charge: &lowest.charge,
            limits: &lowest.limits,
        };
        let highest = Place { circuit: input.circuit(), charge: &result.charge, limits: &result.limits };
        Self { highest, lowest: lowest.map(place) }
    }

    /// The worse of both, its state the number of the place.
    fn worst(&self, judge: impl Fn(&Place) -> Judged) -> Judged {
        let highest = judge(&self.highest);
        self.lowest.as_ref().map_or(highest, |lowest| highest.worse(judge(lowest).in_state(1)))
    }

    fn of(&self, state: u32) -> &Place<'a> {
        self.lowest.as_ref().filter(|_| state == 1).unwrap_or(&self.highest)
    }

    /// Where the load weighs most: the lowest pack voltage, unless only the highest stalls.
    fn stall(&self) -> &Place<'a> {
        let highest = &self.highest;
        match &self.lowest {
            // In percent a resistance does the same at both.
            Some(lowest) if highest.charge.reaches || !matches!(highest.circuit.draw, Draw::Resistance(_)) => {
                if lowest.charge.reaches && !highest.charge.reaches { highest } else { lowest }
            }
            _ => highest,
        }
    }

    /// The end of a note: the pack voltage when there are two.
    fn at(&self, place: &Place) -> String {
        self.lowest.as_ref().map_or_else(String::new, |_| format!(", {}", at_pack(place.circuit.pack_v)))
    }

    /// The beginning of a sentence: the pack voltage when there are two.
    fn start(&self, place: &Place, plain: &str, after: &str) -> String {
        match self.lowest {
            Some(_) => format!("At a pack voltage of {}{after}", volt(place.circuit.pack_v)),
            None => plain.into(),
        }
    }

    /// Why the target is never reached.
    fn never(&self, input: &PrechargeInput, at: &Place) -> String {
        let Place { circuit, charge, limits } = at;
        let allowed = match circuit.draw {
            Draw::Resistance(_) => format!("at least {}", ohm(limits.smallest_load_ohm)),
            Draw::Current(_) => format!("at most {}", ampere(limits.largest_current_a)),
            _ => format!("at most {}", watt(limits.largest_power_w)),
        };
        let collapses =
            at.collapses().map_or_else(String::new, |power| format!(" {}", self.collapse(input, at, power)));
        format!(
            "{}ink {} at {}, {} of the pack: the target of {} is never reached, and the resistor loses {} there. With this resistor {allowed} would be allowed.{collapses}",
            self.start(at, "The l", ", the l"),
            if charge.hangs { "hangs" } else { "settles" },
            volt(charge.settle_v),
            percent(charge.settle_percent),
            percent(input.target_percent),
            watt(charge.settle_power_w)
        )
    }

    /// That a constant power is more than any equilibrium gives.
    fn collapse(&self, input: &PrechargeInput, at: &Place, power_w: f64) -> String {
        format!(
            "{}{} is more than V²/(4 R) = {}: there is no equilibrium. The link falls back to {}, where the load sleeps, rises and falls back again.",
            self.start(at, "", ", "),
            watt(power_w),
            watt(at.limits.collapse_power_w),
            volt(input.load.enable_v)
        )
    }
}

/// Where a number belongs to, in words.
pub(super) fn at_pack(pack_v: f64) -> String {
    format!("at a pack voltage of {}", volt(pack_v))
}

fn time(input: &PrechargeInput, places: &Places, to: &mut Ledger) {
    let (id, limit) = ("precharge.time", input.max_time_s);
    let judge = |place: &Place| Judged::at_most(id, "/max_time_s", Unit::Second, place.charge.time_s, limit);
    to.require(places.worst(judge), |one| {
        let place = places.of(one.state);
        let (target, at) = (percent(input.target_percent), places.at(place));
        let Some(time) = place.charge.time_s else {
            let note = format!("to {target}: never{at}");
            return Words::new("Time to the target", note, places.never(input, place));
        };
        let failure = format!(
            "{}he target takes {}; the attempt is given up after {} at {}.",
            places.start(place, "T", ", t"),
            second(time),
            second(limit),
            volt(place.charge.time_out_v)
        );
        Words::new("Time to the target", format!("to {target}{at}"), failure)
    });
}

/// What the load takes at the target against what the resistor still delivers there.
fn reaches(input: &PrechargeInput, places: &Places, to: &mut Ledger) {
    let pointer = match places.highest.circuit.draw {
        Draw::Nothing => "/load/kind",
        Draw::Resistance(_) => "/load/resistance_ohm",
        Draw::Current(_) => "/load/current_a",
        Draw::Power(_) => "/load/power_w",
    };
    let judge = |Place { circuit, charge, .. }: &Place| {
        let delivers = circuit.charge_a(charge.target_v);
        let takes = if circuit.wake_v() > charge.target_v { 0.0 } else { circuit.load_a(charge.target_v) };
        let takes = Some(takes).filter(|takes| charge.reaches || *takes > delivers);
        Judged::at_most("precharge.reaches", pointer, Unit::Ampere, takes, delivers)
    };
    to.require(places.worst(judge), |one| {
        let place = places.of(one.state);
        let note = format!("settles at {}{}", percent(place.charge.settle_percent), places.at(place));
        let label = "Load at the target against what the resistor delivers there";
        Words::new(label, note, places.never(input, places.stall()))
    });
}

/// The load against the voltage at which it wakes.
fn awake(input: &PrechargeInput, places: &Places, to: &mut Ledger) {
    let Place { circuit, charge, limits } = places.stall();
    if !matches!(circuit.draw, Draw::Power(_) | Draw::Current(_)) {
        return;
    }
    let enable = volt(input.load.enable_v);
    let collapses = places.stall().collapses();
    let held = collapses.is_none() && charge.hangs && !charge.reaches;
    to.require(Judged::never("precharge.held-where-it-wakes", "/load/enable_v", held), |_| {
        let below = limits.lower_v.filter(|lower| charge.settle_v <= *lower);
        let failure = match (below, circuit.balance_v()) {
            (Some(lower), _) => format!(
                "The load wakes at {enable}, below the lower equilibrium of {0}: from there its current is more than the resistor delivers, and the link hangs. Let it wake above {0} only.",
                volt(lower)
            ),
            (None, Some(balance)) => format!(
                "The load wakes at {enable}, above the {} at which it would settle: it pulls the link back to {enable}, sleeps and wakes again.",
                volt(balance)
            ),
            (None, None) => format!(
                "The load takes all that the resistor delivers: the link never rises above {}.",
                volt(charge.settle_v)
            ),
        };
        Words::new("The load does not hold the link where it wakes", format!("it wakes at {enable}"), failure)
    });
    if let Some(power) = collapses.filter(|_| charge.reaches) {
        to.remark(|| {
            let (message, most) = (places.collapse(input, places.stall(), power), limits.collapse_power_w);
            Finding::new(Severity::Warn, "precharge.collapses", message).at("/load/power_w").against(power, most)
        });
    }
    let charge = places.highest.charge;
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

fn resistor(input: &PrechargeInput, result: &PrechargeOutput, places: &Places, to: &mut Ledger) {
    let (resistor, repeated) = (&input.resistor, &result.repeated);
    let (energy, short) = (result.charge.energy_j, result.short.energy_j);
    if let Some(pulse) = resistor.pulse_j {
        let at = "/resistor/pulse_j";
        to.require(Judged::at_most("precharge.resistor-pulse", at, Unit::Joule, energy, pulse), |_| {
            let in_time = result.charge.time_s.is_some_and(|time| time <= input.max_time_s);
            let until = if in_time { "one attempt, to the target" } else { "one attempt, to the time-out" };
            let failure = format!("One attempt puts {} in the resistor; it is rated {}.", joule(energy), joule(pulse));
            Words::new("Energy in the resistor", until, failure)
        });
        to.require(Judged::at_most("precharge.short-energy", at, Unit::Joule, short, pulse), |_| {
            let way = match result.short.until_check_j {
                Some(until) if until <= pulse => {
                    format!("the early check, if it stops the attempt, leaves {} of it", joule(until))
                }
                Some(until) => format!("until the early check it is {} already", joule(until)),
                None => format!(
                    "a time-out of {} or an early check of the slope keeps the rating",
                    second(result.short.allowed_s.unwrap_or(0.0))
                ),
            };
            let failure = format!(
                "A shorted link puts {} in the resistor until the time-out of {}; it is rated {}: {way}.",
                joule(short),
                second(input.max_time_s),
                joule(pulse)
            );
            Words::new("Energy in the resistor, link shorted", "until the time-out", failure)
        });
    }
    let attempts = repeated.attempts;
    let mut power = |id: &'static str, achieved: f64, label: &str, note: &dyn Fn() -> String, what: &str| {
        let Some(limit) = resistor.power_w else { return };
        to.require(Judged::at_most(id, "/resistor/power_w", Unit::Watt, achieved, limit), |_| {
            let failure = format!("The resistor loses {} {what}; it is rated {}.", watt(achieved), watt(limit));
            Words::new(label, note(), failure)
        });
    };
    let series = || format!("during a series of {attempts} attempts");
    power(
        "precharge.resistor-power",
        repeated.series_w,
        "Mean power of the resistor",
        &series,
        "in the mean of a series",
    );
    let shorted = || format!("during a series of {attempts} attempts to the time-out");
    let (label, what) = ("Mean power of the resistor, link shorted", "in the mean of a series against a shorted link");
    power("precharge.short-power", repeated.short_w, label, &shorted, what);
    let stalled = std::iter::once(&places.highest).chain(&places.lowest).filter(|place| !place.charge.reaches);
    let stalled = stalled.max_by(|a, b| a.charge.settle_power_w.total_cmp(&b.charge.settle_power_w));
    if let Some(place) = stalled {
        let note = || format!("at {}{}", volt(place.charge.settle_v), places.at(place));
        let (label, what) = ("Power of the resistor where the link stalls", "for as long as the link stalls");
        power("precharge.stall-power", place.charge.settle_power_w, label, &note, what);
    }
    for (id, body, label, what) in [
        ("precharge.temperature", repeated.body_degc, "Temperature of the resistor", ""),
        (
            "precharge.short-temperature",
            repeated.short_degc,
            "Temperature of the resistor, link shorted",
            " against a shorted link",
        ),
    ] {
        let (Some(limit), Some(body)) = (resistor.limit_degc, body) else { continue };
        let sense = Sense::RiseFrom(resistor.ambient_degc);
        to.require(Judged::new(id, "/resistor/limit_degc", Unit::Celsius, sense, body, limit), |_| {
            let failure = format!("The resistor settles at {}{what}; {} is its limit.", celsius(body), celsius(limit));
            Words::new(label, "steady, at the mean power of a series", failure)
        });
    }
    let unknown = resistor.limit_degc.filter(|_| resistor.k_per_w.is_none());
    to.warn("precharge.no-thermal-resistance", "/resistor/k_per_w", unknown.is_some(), || {
        let limit = celsius(unknown.unwrap_or_default());
        format!("The highest body temperature of {limit} is not judged: the thermal resistance of the resistor is not given.")
    });
    to.note("precharge.no-pulse-rating", "/resistor/pulse_j", resistor.pulse_j.is_none(), || {
        let (one, shorted) = (joule(energy), joule(short));
        format!("No pulse rating is given: one attempt puts {one} in the resistor, a shorted link {shorted} until the time-out.")
    });
}

fn closing(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    if let Some(limit) = input.path.contactor_inrush_a2s {
        let (id, at, a2s) = ("precharge.inrush", "/path/contactor_inrush_a2s", result.inrush.a2s);
        to.require(Judged::at_most(id, at, Unit::AmpereSquaredSecond, a2s, limit), |_| {
            let failure = format!(
                "Closing at a true difference of {} makes {}; the contactor takes {}, that is a difference of {}.",
                volt(result.difference.high_v),
                ampere_squared_second(a2s),
                ampere_squared_second(limit),
                volt(result.inrush.allowed_v.unwrap_or(0.0))
            );
            Words::new("I²t when the main contactor closes", "at the largest true difference", failure)
        });
    }
    let difference = &result.difference;
    let [nominal, error, low, high] =
        [difference.nominal_percent, difference.error_percent, difference.low_percent, difference.high_percent];
    if input.link_error_percent.is_none() && input.pack_error_percent.is_none() {
        to.note("precharge.no-channel-errors", "/link_error_percent", true, || {
            "The errors of the voltage channels are not given: the true difference is taken as the nominal one.".into()
        });
    } else if error >= nominal {
        to.remark(|| {
            let [left, wrong, low, high] = [nominal, error, low, high].map(percent);
            let message = format!(
                "The target leaves {left}, the two channels are wrong by up to {wrong} together: when they report the target, the true difference is {low} to {high}. Read the difference with one channel across the contactor, or cross-calibrate the two at equal voltage."
            );
            let finding = Finding::new(Severity::Warn, "precharge.difference-inside-errors", message);
            finding.at("/target_percent").against(error, nominal)
        });
    } else {
        to.note("precharge.true-difference", "/target_percent", error > 0.0, || {
            let [reading, low, high] = [nominal, low, high].map(percent);
            let most = volt(difference.high_v);
            format!("A reading of {reading} may hide a true difference of {low} to {high}, up to {most}.")
        });
    }
    to.note("precharge.no-inductance", "/path/inductance_henry", input.path.inductance_henry == 0.0, || {
        let peak = Quantity::new(result.inrush.peak_a, Unit::Ampere);
        format!("Without inductance the inrush begins at its peak of {peak}: an upper bound.")
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
