//! The pre-charge for a reader.

use super::chart;
use super::input::PrechargeInput;
use super::output::PrechargeOutput;
use super::requirements::at_pack;
use crate::constant::TOUCH_SAFE_V;
use crate::judge::{Ledger, Verdict};
use crate::quantity::{Quantity, Unit, ohm, say, second};
use crate::report::kit::{Columns, Values};
use crate::report::{Block, Figure, Table, View};

/// From this body temperature on a surface burns at a touch, °C. Common practice, no source.
const HOT_DEGC: f64 = 70.0;

pub(super) fn view(input: &PrechargeInput, result: &PrechargeOutput, judged: &Ledger) -> View {
    let mut view = View::default();
    let charge = &result.charge;
    // The worse of the two pack voltages leads.
    let (lead, place) = match &result.lowest {
        Some(low) if charge.reaches && (!low.charge.reaches || low.charge.time_s > charge.time_s) => {
            (&low.charge, format!(" {}", at_pack(low.pack_v)))
        }
        _ => (charge, String::new()),
    };
    view.lead = match lead.time_s {
        Some(time) => format!(
            "{} of the pack after {}{place}{}",
            say(input.target_percent, Unit::Percent),
            say(time, Unit::Second),
            match judged.verdict() {
                Verdict::Fails => ", but a requirement fails",
                Verdict::Thin => ", with little left",
                _ => "",
            }
        ),
        None => format!(
            "Never{place}: the link {} at {} of the pack, {} is the target",
            if lead.hangs { "hangs" } else { "settles" },
            say(lead.settle_percent, Unit::Percent),
            say(input.target_percent, Unit::Percent)
        ),
    };
    view.more = format!(
        "One attempt puts {} in the resistor, a shorted link {} until the time-out. The main contactor closes on up to {}: {} peak.",
        say(charge.energy_j, Unit::Joule),
        say(result.short.energy_j, Unit::Joule),
        say(result.difference.high_v, Unit::Volt),
        say(result.inrush.peak_a, Unit::Ampere)
    );
    view.blocks.push(Block::Figures(figures(input, result)));
    view.blocks.extend(chart::course(input, result).into_iter().map(Block::Chart));
    view.blocks.push(Block::Chart(chart::map(input, result)));
    view.blocks.push(Block::Table(load(result)));
    view.blocks.push(Block::Table(resistor(result)));
    view.blocks.push(Block::Table(closing(result)));
    if !result.choice.candidates.is_empty() {
        view.blocks.push(Block::Table(choice(result)));
    }
    view
}

fn figures(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Figure> {
    let charge = &result.charge;
    let mut figures = Vec::new();
    if let Some(time) = charge.time_s {
        figures.push(Figure::new(
            "Time to the target",
            time,
            Unit::Second,
            format!("{} without load", say(charge.unloaded_s, Unit::Second)),
        ));
    }
    if let Some(lowest) = &result.lowest {
        figures.push(Figure::new(
            "Settles at the lowest pack voltage",
            lowest.charge.settle_percent,
            Unit::Percent,
            match lowest.charge.time_s {
                Some(time) => format!("{}, target after {}", at_pack(lowest.pack_v), say(time, Unit::Second)),
                None => format!("{}, target never", at_pack(lowest.pack_v)),
            },
        ));
    }
    figures.extend([
        Figure::new(
            "Settles at",
            charge.settle_percent,
            Unit::Percent,
            format!("{}, resistor {}", say(charge.settle_v, Unit::Volt), say(charge.settle_power_w, Unit::Watt)),
        ),
        Figure::new("Peak current", charge.peak_a, Unit::Ampere, "at the start"),
        Figure::new(
            "Energy of one attempt",
            charge.energy_j,
            Unit::Joule,
            format!("½ C (V − V0)² = {}", say(charge.unloaded_energy_j, Unit::Joule)),
        ),
        Figure::new(
            "Shorted link",
            result.short.energy_j,
            Unit::Joule,
            format!("{} for {}", say(result.short.power_w, Unit::Watt), say(input.max_time_s, Unit::Second)),
        ),
        Figure::new(
            "True difference up to",
            result.difference.high_v,
            Unit::Volt,
            format!(
                "{} to {}",
                say(result.difference.low_percent, Unit::Percent),
                say(result.difference.high_percent, Unit::Percent)
            ),
        ),
        Figure::new(
            "Inrush of the main contactor",
            result.inrush.peak_a,
            Unit::Ampere,
            format!("after {}, {}", say(result.inrush.peak_s, Unit::Second), result.inrush.damping.label()),
        ),
    ]);
    figures
}

/// Rows of one number each; what is not defined has none.
fn list(id: &str, caption: &str, note: &str, lines: Vec<(&str, Option<f64>, Unit, String)>) -> Table {
    let mut values = Values::new(id, caption, note);
    for (head, value, unit, note) in lines {
        values.row(head, value.map(|value| Quantity::new(value, unit)), note);
    }
    values.table()
}

fn load(result: &PrechargeOutput) -> Table {
    let (charge, limits) = (&result.charge, &result.limits);
    let none = String::new;
    let lowest = result.lowest.as_ref();
    let place = || lowest.map_or_else(none, |lowest| at_pack(lowest.pack_v));
    let lowest = lowest.map(|lowest| &lowest.limits);
    list(
        "load-limits",
        "What the load may take",
        "With this resistor and target; a load of constant power or current at its wake-up voltage as well.",
        vec![
            ("Largest constant power", Some(limits.largest_power_w), Unit::Watt, none()),
            ("The same, lowest pack", lowest.map(|limits| limits.largest_power_w), Unit::Watt, place()),
            ("Largest constant current", Some(limits.largest_current_a), Unit::Ampere, none()),
            ("The same, lowest pack", lowest.map(|limits| limits.largest_current_a), Unit::Ampere, place()),
            ("Smallest resistance", Some(limits.smallest_load_ohm), Unit::Ohm, none()),
            ("No equilibrium above", Some(limits.collapse_power_w), Unit::Watt, "V²/(4 R)".into()),
            ("The same, lowest pack", lowest.map(|limits| limits.collapse_power_w), Unit::Watt, place()),
            (
                "Upper equilibrium",
                limits.upper_v,
                Unit::Volt,
                limits.upper_percent.map_or_else(none, |p| format!("{} of the pack", say(p, Unit::Percent))),
            ),
            ("Lower equilibrium", limits.lower_v, Unit::Volt, "below it the load pulls the link down".into()),
            ("Until the load wakes", charge.asleep_s, Unit::Second, none()),
            ("From there to the target", charge.awake_s, Unit::Second, none()),
        ],
    )
}

fn resistor(result: &PrechargeOutput) -> Table {
    let (repeated, short) = (&result.repeated, &result.short);
    let none = String::new;
    list(
        "resistor",
        "The resistor over the attempts",
        "Steady body temperature at the mean power: an upper bound for a short series.",
        vec![
            ("Largest power", Some(result.charge.peak_w), Unit::Watt, "at the start".into()),
            ("Attempts of a series", Some(f64::from(repeated.attempts)), Unit::One, none()),
            ("Energy of a series", Some(repeated.series_j), Unit::Joule, none()),
            ("Mean power of a series", Some(repeated.series_w), Unit::Watt, none()),
            ("Mean with the pause", Some(repeated.cycle_w), Unit::Watt, none()),
            ("Mean against a shorted link", Some(repeated.short_w), Unit::Watt, none()),
            ("Body temperature", repeated.body_degc, Unit::Celsius, none()),
            ("Body temperature, shorted link", repeated.short_degc, Unit::Celsius, none()),
            (
                "Shortest time from attempt to attempt",
                repeated.shortest_repeat_s,
                Unit::Second,
                "for the rated power".into(),
            ),
            ("Longest time-out against a short", short.allowed_s, Unit::Second, "for the rated pulse".into()),
            ("Shorted link until the early check", short.until_check_j, Unit::Joule, none()),
            ("Equal elements that share a short", short.elements, Unit::One, "each with the rated pulse".into()),
        ],
    )
}

fn closing(result: &PrechargeOutput) -> Table {
    let (difference, inrush) = (&result.difference, &result.inrush);
    let none = String::new;
    let mut lines = vec![
        ("Nominal difference", Some(difference.nominal_percent), Unit::Percent, none()),
        ("Both channels together", Some(difference.error_percent), Unit::Percent, "limits added".into()),
        ("Smallest true difference", Some(difference.low_v), Unit::Volt, none()),
        ("Largest true difference", Some(difference.high_v), Unit::Volt, none()),
        ("Largest current", Some(inrush.peak_a), Unit::Ampere, inrush.damping.label().into()),
        ("Without inductance", Some(inrush.bound_a), Unit::Ampere, "upper bound".into()),
        ("I²t", Some(inrush.a2s), Unit::AmpereSquaredSecond, "C dV²/(2 R)".into()),
        ("Largest difference for the contactor", inrush.allowed_v, Unit::Volt, none()),
    ];
    if let Some(early) = &result.early {
        lines.extend([
            ("Expected at the early check", Some(early.expected_v), Unit::Volt, say(early.time_s, Unit::Second)),
            ("Short or overload below", Some(early.low_limit_v), Unit::Volt, none()),
            ("Capacitor missing above", Some(early.high_limit_v), Unit::Volt, none()),
            ("An open path reads up to", Some(early.open_reads_v), Unit::Volt, none()),
            ("Shorts seen up to", early.seen_short_ohm, Unit::Ohm, "for certain, with the channel's error".into()),
        ]);
    }
    list("closing", "Closing the main contactor", "At nominal R and C.", lines)
}

fn choice(result: &PrechargeOutput) -> Table {
    let choice = &result.choice;
    let caption = format!("Preferred resistors for {}", second(choice.wanted_s));
    let note = match (choice.exact_loaded_ohm, choice.exact_ohm) {
        (Some(exact), _) => format!("{} would take just that.", ohm(exact)),
        (None, Some(exact)) => format!("No resistance does it with this load; without load {} would.", ohm(exact)),
        _ => String::new(),
    };
    Columns::new("choice", &caption, "Value", &choice.candidates, |_, one| ohm(one.resistance_ohm).to_string())
        .note(note)
        .words("Series", |one| one.series.clone())
        .column("Time", Unit::Second, |one| one.time_s)
        .column("Peak current", Unit::Ampere, |one| one.peak_a)
        .column("Energy", Unit::Joule, |one| one.energy_j)
        .column("Shorted link", Unit::Joule, |one| one.short_j)
        .words("Keeps the time", |one| if one.keeps { Verdict::Holds } else { Verdict::Fails })
        .table()
}

pub(super) fn cautions(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<String> {
    let mut care = Vec::new();
    if input.pack_v > TOUCH_SAFE_V {
        care.push(format!(
            "The charged link holds {} at {} and keeps it after opening. Treat it as charged until measured as discharged, with a suitable instrument proven before and after.",
            say(result.stored_j, Unit::Joule),
            say(input.pack_v, Unit::Volt)
        ));
        if !result.charge.reaches || result.charge.time_s.is_some_and(|time| time > input.max_time_s) {
            care.push(format!(
                "After an attempt that is given up the link still holds {}. Do not rely on time alone: measure.",
                say(result.charge.time_out_v, Unit::Volt)
            ));
        }
    }
    let hottest = result.repeated.short_degc.or(result.repeated.body_degc);
    if let Some(hottest) = hottest.filter(|hottest| *hottest > HOT_DEGC) {
        care.push(format!(
            "Resistor surface near {} in the worst case: burn and fire risk; check neighbouring plastics and solder.",
            say(hottest, Unit::Celsius)
        ));
    }
    care
}
