//! What is required of the race.

use super::Solved;
use super::input::{MeantFirst, RaceInput};
use super::output::NobodyReason;
use super::scan::nobody;
use super::strings::shares;
use super::wiring::end_degc;
use crate::judge::{Judged, Ledger, Limit, Words, passes};
use crate::quantity::{Unit, ampere, ampere_squared_second, celsius, joule, second, volt};
use crate::report::kit::capital;
use crate::work::Work;

impl Solved {
    /// Takes a requirement: where it fails for some inductance of one string alone and holds for another, it stands open.
    fn require(&self, to: &mut Ledger, one: Judged, words: impl FnOnce(&Judged) -> Words) {
        to.require(one.holds_with(self.open.contains(&one.id).then_some("/source/own_inductance_henry")), words);
    }

    /// One fault or a range of them, in a sentence.
    fn place(&self, from_a: f64, to_a: f64) -> String {
        let (weakest, strongest) = self.region.range_a();
        let (from, to) = (ampere(from_a).to_string(), ampere(to_a).to_string());
        if weakest >= strongest || from == to { format!("at {from}") } else { format!("from {from} to {to}") }
    }

    /// Where nobody interrupts for this reason, in a sentence.
    fn places(&self, input: &RaceInput, reason: NobodyReason) -> String {
        let left = nobody(input, &self.region, &self.scan, Work::FREE).unwrap_or_default();
        let left = left.iter().filter(|interval| interval.reason == reason);
        let places: Vec<_> = left.map(|interval| self.place(interval.from_a, interval.to_a)).collect();
        if places.is_empty() { "at some faults".into() } else { places.join(" and ") }
    }
}

pub(super) fn requirements(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    breaking(input, solved, to);
    fuse(input, solved, to);
    carried(input, solved, to);
    passed(input, solved, to);
    from_link(input, solved, to);
    clamp(input, solved, to);
    order(input, solved, to);
    opens(input, solved, to);
}

/// Whoever opens must be able to break what flows then.
fn breaking(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (scan, capacity) = (&solved.scan, input.switch.breaking_a);
    let (must, surely) = (scan.must_break.value(), scan.must_break_surely.value());
    if must.is_some() || capacity.is_some() {
        let missing = capacity.is_none().then_some("/switch/breaking_a");
        let can = capacity.unwrap_or(0.0);
        // What a fuse may have cleared before neither fails nor holds.
        let open = scan.must_break_unless.filter(|_| !surely.is_some_and(|surely| passes(surely, can)));
        let open = open.filter(|_| must.is_some_and(|must| passes(must, can)));
        let most = must.unwrap_or(0.0);
        let limit = missing.or(open).map_or(Limit::Given(can), Limit::Missing);
        solved.require(to, Judged::at_most("race.breaking", "/switch/breaking_a", Unit::Ampere, most, limit), |_| {
            let never = "it never opens first at any of these faults";
            let note = must.map_or_else(
                || never.into(),
                |must| format!("up to {} at its opening, over all faults", ampere(must)),
            );
            let (most, can) = (ampere(most), ampere(can));
            // Where nothing is sure to open the interval has that reason; the current is there all the same.
            let failure = match solved.places(input, NobodyReason::BeyondBreaking).as_str() {
                "at some faults" => format!("If the switch opens it may have to break {most}; it can break {can}."),
                places => format!(
                    "{} of prospective current the switch may open before the fuse has cleared, with up to {most}; it can break {can}.",
                    capital(places)
                ),
            };
            Words::new("Breaking capacity of the switch", note, failure)
        });
    }
    backwards(input, solved, to);
}

/// What others, and the link, drive through a switch backwards.
fn backwards(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let from_link = solved.link.and_then(|link| link.opened_a);
    let from_others = solved.scan.backwards.value();
    // What charges it at most is broken in operation, too.
    let charging = input.before_min_a.map_or(0.0, |before| -before);
    if input.feeding() == 0 && !from_link.is_some_and(|most| passes(most, charging)) {
        return;
    }
    let most = [from_others, from_link].into_iter().flatten().reduce(f64::max);
    let (reverse, can) = (most.unwrap_or(0.0), input.switch.breaking_reverse_a);
    let can = can.map_or(Limit::Missing("/switch/breaking_reverse_a"), Limit::Given);
    let one = Judged::at_most("race.breaking-backwards", "/switch/breaking_reverse_a", Unit::Ampere, reverse, can);
    // What the link drives flows before any fuse has cleared.
    let by_others = !from_link.is_some_and(|link| one.required.is_some_and(|can| passes(link, can)));
    let one = one.holds_with(solved.scan.backwards_unless.filter(|_| by_others));
    solved.require(to, one, |one| {
        let (told, can) = (ampere(reverse), ampere(one.required.unwrap_or_default()));
        let place = match input.feeding() {
            0 => "short on the pack's side".to_owned(),
            _ => format!("fault inside one {}", input.piece()),
        };
        let feeds = match (input.feeding(), from_link > from_others) {
            (0, _) => "the link capacitor",
            (_, true) => "the others and the link capacitor",
            (_, false) => "the others",
        };
        let failure =
            format!("A {place} is fed by {feeds}: the switch may have to break {told} backwards; it can break {can}.");
        let note = match most {
            None => format!("{place}: its fuse has always cleared before"),
            Some(_) => format!("{place}, fed by {feeds}: up to {told}"),
        };
        Words::new("Breaking capacity backwards", note, failure)
    });
}

/// The fuse must be able to break what it may meet.
fn fuse(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    if !input.has_fuse() {
        return;
    }
    let must = solved.scan.fuse_breaks.value();
    let can = input.fuse.breaking_a.map_or(Limit::Missing("/fuse/breaking_a"), Limit::Given);
    let most = must.unwrap_or(0.0);
    solved.require(to, Judged::at_most("race.fuse-breaking", "/fuse/breaking_a", Unit::Ampere, most, can), |one| {
        let (most, can) = (ampere(most), ampere(one.required.unwrap_or_default()));
        let failure = format!("The fuse may have to break {most}; it breaks {can}.");
        let note = must.map_or("the switch is always first", |_| "strongest fault at which it may melt");
        Words::new("Breaking capacity of the fuse", note, failure)
    });
    let source = input.source.voltage_v;
    let rated = input.fuse.voltage_v.map_or(Limit::Missing("/fuse/voltage_v"), Limit::Given);
    solved.require(to, Judged::at_most("race.fuse-voltage", "/fuse/voltage_v", Unit::Volt, source, rated), |one| {
        let (rated, source) = (volt(one.required.unwrap_or_default()), volt(source));
        let failure = format!("The fuse clears up to {rated}, the source has {source}: it clears nothing.");
        Words::new("Direct voltage of the fuse", "highest voltage of the source", failure)
    });
    let slowest = solved.region.slowest_s(input);
    let rated = input.fuse.time_constant_s.map_or(Limit::Missing("/fuse/time_constant_s"), Limit::Given);
    let one = Judged::at_most("race.fuse-time-constant", "/fuse/time_constant_s", Unit::Second, slowest, rated);
    solved.require(to, one, |one| {
        let (rated, slowest) = (second(one.required.unwrap_or_default()), second(slowest));
        let failure = format!("The clearing values of the fuse hold up to a time constant of {rated}; the loop has {slowest}: how long it arcs is not known.");
        Words::new("Time constant of the fuse", "largest L/R of the loop", failure)
    });
}

/// The closed switch must carry what flows until it opens or the fault is over.
fn carried(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (judged, at, given) = match (input.switch.carry_a, input.switch.carry_s) {
        (Some(limit), Some(time)) => {
            let (judged, at) = solved.scan.carried.at_most("race.carry", "/switch/carry_a", Unit::Ampere, limit);
            (judged, at, Some((ampere(limit), second(time))))
        }
        (carry, _) => {
            let missing = if carry.is_none() { "/switch/carry_a" } else { "/switch/carry_s" };
            let limit = Limit::Missing(missing);
            (Judged::at_most("race.carry", "/switch/carry_a", Unit::Ampere, None, limit), 0.0, None)
        }
    };
    solved.require(to, judged, |one| {
        let at = ampere(at);
        let (note, failure) = match (given, one.achieved.map(ampere)) {
            (None, _) => ("peak, and heat until it opens or the fault is over".into(), String::new()),
            (Some((limit, time)), Some(current)) => (
                format!("peak, or equal heat in {time}; closed contacts, worst at {at} prospective"),
                format!("At a fault of {at} the closed switch carries {current}, as a peak or as equal heat in {time}; it is rated {limit}."),
            ),
            (Some((limit, time)), None) => (
                format!("nothing bounds the heat at {at} prospective"),
                format!("Nothing bounds the heat of the closed switch at a fault of {at}; it carries {limit} for {time}."),
            ),
        };
        Words::new("Carried by the closed switch", note, failure)
    });
}

/// What passes until the fault is over must not destroy shunt and wiring.
fn passed(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let wiring = solved.wiring.map(|wiring| wiring.limit_a2s);
    let shunt = ("race.shunt-pulse", "/shunt_pulse_a2s", "Pulse limit of the shunt", "the shunt");
    let wire = ("race.wiring", "/wiring/area_mm2", "Adiabatic limit of the wiring", "the wiring");
    for (rest, limit) in [(shunt, input.shunt_pulse_a2s), (wire, wiring)] {
        match limit {
            Some(limit) => passes_one(input, solved, to, rest, limit),
            None => {
                let ((id, pointer, label, _), most) = (rest, solved.scan.let_through.value());
                let one = Judged::at_most(id, pointer, Unit::AmpereSquaredSecond, most, Limit::Missing(pointer));
                solved.require(to, one, |_| {
                    Words::new(label, "let-through until the fault is surely over", String::new())
                });
            }
        }
    }
}

type Part = (&'static str, &'static str, &'static str, &'static str);

fn passes_one(input: &RaceInput, solved: &Solved, to: &mut Ledger, (id, pointer, label, part): Part, limit: f64) {
    let (judged, at_a) = solved.scan.let_through.at_most(id, pointer, Unit::AmpereSquaredSecond, limit);
    solved.require(to, judged, |one| {
        let (at, takes) = (ampere(at_a), ampere_squared_second(limit));
        let (note, failure) = match one.achieved {
            Some(a2s) => {
                let hot = input.wiring.area_mm2.filter(|_| id == "race.wiring").map_or_else(String::new, |area| {
                    let end = end_degc(input, area, a2s).map(celsius);
                    end.map_or_else(|| " It melts.".into(), |end| format!(" It ends at {end}."))
                });
                let a2s = ampere_squared_second(a2s);
                (
                    format!("let-through until the fault is surely over, worst at {at} prospective"),
                    format!("{a2s} pass before a fault of {at} is over, the worst of them; {part} takes {takes}.{hot}"),
                )
            }
            None => {
                let fuse = match input.fuse.never_clears_below_a {
                    _ if !input.has_fuse() => "there is no fuse".into(),
                    _ if input.fuse.breaking_a.is_some_and(|can| passes(at_a, can)) => {
                        "the fuse cannot break it".into()
                    }
                    Some(least) => format!("the fuse clears from {} on", ampere(least)),
                    None => "the fuse does not clear it".to_owned(),
                };
                let part = capital(part);
                (
                    format!("nothing bounds the let-through at {at} prospective"),
                    format!("Nothing bounds the let-through at a fault of {at}: no switch is sure to break it, and {fuse}. {part} takes {takes}."),
                )
            }
        };
        Words::new(label, note, failure)
    });
}

/// The link capacitor discharges through shunt, fuse, wiring and closed switch before anything opens.
fn from_link(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let Some(link) = solved.link else { return };
    let (peak, passed) = (link.most_a(), link.passes_a2s());
    let missing = match (input.switch.carry_a, input.switch.carry_s) {
        (None, _) => Some("/switch/carry_a"),
        // The peak alone may fail.
        (Some(limit), None) if !peak.is_none_or(|peak| passes(peak, limit)) => Some("/switch/carry_s"),
        _ => None,
    };
    let limit = missing.map_or_else(|| Limit::Given(input.switch.carry_a.unwrap_or_default()), Limit::Missing);
    let equal = input.switch.carry_s.map(|time| passed.map(|a2s| (a2s / time).sqrt()));
    let carried = equal.map_or(peak, |equal| Some(peak?.max(equal?)));
    solved.require(to, Judged::at_most("race.link-carry", "/switch/carry_a", Unit::Ampere, carried, limit), |one| {
        let rated = ampere(one.required.unwrap_or_default());
        let others = if input.feeding() > 0 { " and the others" } else { "" };
        let failure = match carried.map(ampere) {
            Some(carried) => format!(
                "A short on the pack's side draws {carried} from the link{others} through the closed switch, as a peak or as equal heat in the time of its rating; it is rated {rated}."
            ),
            None => format!(
                "Nothing bounds what a short on the pack's side draws from the link; the switch is rated {rated}."
            ),
        };
        let note = match input.feeding() {
            0 => "peak, or equal heat, of the link capacitor into a short on the pack's side".to_owned(),
            _ => format!("peak, or equal heat, of link capacitor and others into a fault inside one {}", input.piece()),
        };
        Words::new("Carried from the link", note, failure)
    });
    let wiring = solved.wiring.map(|wiring| wiring.limit_a2s);
    for ((id, pointer, label, part), limit) in [
        (
            ("race.link-shunt", "/shunt_pulse_a2s", "From the link through the shunt", "the shunt"),
            input.shunt_pulse_a2s,
        ),
        (("race.link-wiring", "/wiring/area_mm2", "From the link through the wiring", "the wiring"), wiring),
    ] {
        let Some(limit) = limit else { continue };
        solved.require(to, Judged::at_most(id, pointer, Unit::AmpereSquaredSecond, passed, limit), |_| {
            let takes = ampere_squared_second(limit);
            let failure = match passed.map(ampere_squared_second) {
                Some(passed) => format!("The link capacitor sends {passed} through {part} into a short on the pack's side; it takes {takes}."),
                None => format!("Without a resistance of the short nothing bounds what the link sends through {part}; it takes {takes}."),
            };
            Words::new(label, "link capacitor into a short on the pack's side", failure)
        });
    }
    if link.melts(input) {
        let can = input.fuse.breaking_a.map_or(Limit::Missing("/fuse/breaking_a"), Limit::Given);
        solved.require(to, Judged::at_most("race.link-fuse", "/fuse/breaking_a", Unit::Ampere, peak, can), |one| {
            let can = ampere(one.required.unwrap_or_default());
            let most = peak.map_or_else(|| "a current that nothing bounds".into(), |peak| ampere(peak).to_string());
            let failure = format!("The link capacitor may melt the fuse with {most}; it breaks {can}.");
            Words::new("Fuse melted by the link", "peak of the link capacitor, which may melt the fuse", failure)
        });
    }
}

/// The clamp must stand above the source, and take what the opening leaves it.
fn clamp(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (switch, source_v) = (&input.switch, input.source.voltage_v);
    let Some(clamp_v) = switch.clamp_voltage_v else {
        if switch.clamp_energy_j.is_some() {
            let limit = Limit::Missing("/switch/clamp_voltage_v");
            let one = Judged::at_most("race.clamp-energy", "/switch/clamp_energy_j", Unit::Joule, None, limit);
            solved
                .require(to, one, |_| Words::new("Energy into the clamp", "with what the source adds", String::new()));
        }
        return;
    };
    let ends = input.clamp_ends(source_v) == Some(true);
    // At the very voltage of the source the current never ends either.
    let alike = !ends && !passes(source_v, clamp_v);
    let source = (!alike).then_some(source_v);
    solved.require(to, Judged::at_most("race.clamp", "/switch/clamp_voltage_v", Unit::Volt, source, clamp_v), |_| {
        let note = match source {
            Some(_) => "voltage of the source against the clamp",
            None => "as high as the source: the current never ends",
        };
        let (stands, source) = (volt(clamp_v), volt(source_v));
        let failure = format!("The clamp stands at {stands}, the source at {source}: the current never ends, the source feeds the clamp or the arc.");
        Words::new("Clamp above the source", note, failure)
    });
    let limit = switch.clamp_energy_j;
    let (mut one, at) = solved.scan.clamp.at_most(
        "race.clamp-energy",
        "/switch/clamp_energy_j",
        Unit::Joule,
        limit.unwrap_or(f64::INFINITY),
    );
    if solved.scan.clamp.untold() && (ends || limit.is_none()) {
        return;
    }
    if !ends {
        one = Judged::at_most(one.id, "/switch/clamp_energy_j", Unit::Joule, None, limit.unwrap_or(0.0));
    }
    if limit.is_none() {
        let energy = solved.scan.clamp.largest().filter(|_| ends);
        one = Judged::at_most(
            one.id,
            "/switch/clamp_energy_j",
            Unit::Joule,
            energy,
            Limit::Missing("/switch/clamp_energy_j"),
        );
    }
    solved.require(to, one, |one| {
        let limit = joule(limit.unwrap_or_default());
        let (note, failure) = match one.achieved.map(joule) {
            Some(energy) => {
                let at = ampere(at);
                let failure = format!(
                    "At a fault of {at} the clamp takes {energy} with what the source adds; it is rated {limit}."
                );
                (format!("with what the source adds, worst at {at} prospective"), failure)
            }
            None if ends => ("with what the source adds".into(), String::new()),
            None => ("the current never ends".into(), format!("The current never ends; the clamp is rated {limit}.")),
        };
        Words::new("Energy into the clamp", note, failure)
    });
}

/// Whoever is meant to open first must have done so, at its latest, when the other one does at its earliest.
fn order(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (id, label, [one, other]) = match input.meant_first {
        MeantFirst::Any => return,
        MeantFirst::Fuse => ("race.fuse-first", "Fuse before the switch", ["fuse", "switch"]),
        MeantFirst::Switch => ("race.switch-first", "Switch before the fuse", ["switch", "fuse"]),
    };
    // A fuse that is warm melts earlier than its cold points say.
    let warm = (input.fuse.preload_percent.is_none() && input.before_a.abs() > 0.0).then_some("/fuse/preload_percent");
    let judged = solved.strongest_all.iter().map(|fault| {
        let fuse = fault.fuse;
        let (first, second_s, missing) = match input.meant_first {
            MeantFirst::Fuse => {
                let missing = fuse.and_then(|fuse| fuse.high.missing());
                (fuse.and_then(|fuse| fuse.high.value()), fault.switch_min_s, missing)
            }
            _ => (fault.switch_max_s, fuse.map(|fuse| fuse.low_s), None),
        };
        // Where neither opens, there is no time left for the first.
        let limit = second_s.or(first.is_none().then_some(0.0)).map_or(Limit::NotAsked, Limit::Given);
        let known = Judged::at_most(id, "/meant_first", Unit::Second, first, limit);
        let asked = fuse.is_some() && input.meant_first == MeantFirst::Switch;
        match missing.or(warm.filter(|_| asked && !known.fails())) {
            Some(what) => Judged::at_most(id, "/meant_first", Unit::Second, first, Limit::Missing(what)),
            None => known,
        }
    });
    let Some(judged) = judged.reduce(Judged::worse) else { return };
    solved.require(to, judged, |judged| {
        let (first, second_s) = (judged.achieved, judged.required);
        let note = match (first, second_s) {
            (Some(_), Some(_)) => "its latest against the other's earliest, strongest fault",
            (Some(_), None) => "strongest fault",
            (None, _) => "it never opens at the strongest fault",
        };
        let at = ampere(solved.strongest.seen.high.prospective_a());
        let time = first.map_or_else(|| "never opens for certain".into(), |time| format!("may take {}", second(time)));
        let rival =
            second_s.map_or_else(|| "does not open either".into(), |time| format!("may open after {}", second(time)));
        let failure =
            format!("The {one}, meant to open first, {time} at the strongest fault of {at}; the {other} {rival}.");
        Words::new(label, note, failure)
    });
}

/// Every fault must find somebody who opens it, and the threshold must lie above what flows before.
fn opens(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let left = solved.scan.never;
    let none_left = (!left).then_some(0.0);
    let limit = solved.scan.unknown.filter(|_| !left).map_or(Limit::Given(0.0), Limit::Missing);
    solved.require(to, Judged::at_most("race.opens", "/threshold_a", Unit::Percent, none_left, limit), |_| {
        let (note, failure) = if left {
            let nothing = solved.scan.nobody.contains(&NobodyReason::NothingOpens);
            let reason = if nothing { NobodyReason::NothingOpens } else { NobodyReason::BeyondBreaking };
            let places = solved.places(input, reason);
            let (at, high) = (capital(&places), ampere(input.thresholds().1));
            let failure = format!("{at} of prospective current nothing opens for certain: the threshold, at its highest {high}, may not be reached or the switch does not break or end the current, and no fuse clears.");
            (format!("nothing opens for certain {places} prospective"), failure)
        } else {
            let (from, to) = solved.region.range_a();
            let note = format!("share of the faults left to nobody, {} prospective", solved.place(from, to));
            (note, String::new())
        };
        Words::new("Some device opens every fault", note, failure)
    });
    let (before, (low, _)) = (input.before_a.max(0.0), input.thresholds());
    solved.require(to, Judged::at_most("race.threshold", "/threshold_a", Unit::Ampere, before, low), |_| {
        let (low, before) = (ampere(low), ampere(before));
        let failure = format!("The threshold, at its lowest {low}, lies below the current before the fault of {before}: it trips in normal operation.");
        let note = "current before the fault, threshold at its lowest";
        Words::new("Threshold above the current before", note, failure)
    });
    // A detection that sees charging trips at its peak, too.
    let peaks = [(input.pack_peak_a, "discharging"), (input.pack_charge_peak_a, "charging")];
    let known = peaks.into_iter().filter_map(|(peak, way)| Some((peak?, way)));
    if let Some((peak, way)) = known.reduce(|most, other| if other.0 > most.0 { other } else { most }) {
        // Of strings that share it unequally the one that carries most.
        let peak = if input.strings.count > 1 { peak * shares(input)[1] } else { peak };
        solved.require(to, Judged::at_most("race.pack-peak", "/threshold_a", Unit::Ampere, peak, low), |_| {
            let (low, peak) = (ampere(low), ampere(peak));
            let failure = format!(
                "The pack itself drives {peak} with its ripple, {way}; the threshold, at its lowest {low}, trips there."
            );
            Words::new("No trip at the pack's own peak", format!("peak with ripple {peak}, {way}"), failure)
        });
    }
}
