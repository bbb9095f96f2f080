//! The pre-charge for a reader.

use super::chart;
use super::input::{PrechargeInput, at_pack};
use super::output::{PrechargeOutput, PrechargePlace};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{Unit, ampere, ampere_squared_second, celsius, joule, ohm, one, percent, second, volt, watt};
use crate::report::caution;
use crate::report::caution::TOUCH_SAFE_V;
use crate::report::kit::{Columns, Values, capital};
use crate::report::{Block, Figure, Table, View};

pub(super) fn view(input: &PrechargeInput, result: &PrechargeOutput, judged: &Ledger) -> View {
    let worse = &result.slowest.charge;
    let place = input.pack_min_v.map_or_else(String::new, |_| format!(" {}", at_pack(result.slowest.pack_v)));
    let lead = match worse.time_s {
        Some(time) => format!(
            "{} after {}{place}{}",
            capital(&input.rule()),
            second(time),
            match judged.verdict() {
                Verdict::Fails => ", but a requirement fails",
                Verdict::Thin => ", with little left",
                _ => "",
            }
        ),
        None => format!(
            "Never{place}: the link {} at {} of the pack, {} is the target",
            if worse.hangs { "hangs" } else { "settles" },
            percent(worse.settle_percent),
            input.rule()
        ),
    };
    let more = format!(
        "One attempt puts up to {} in the resistor, a shorted link {} until the time-out. The main contactor closes on up to {}: {} peak.",
        joule(result.attempt.energy_j),
        joule(result.short.energy_j),
        volt(result.difference.largest_v),
        ampere(result.inrush.peak_a)
    );
    let mut blocks = vec![Block::Figures(figures(input, result))];
    blocks.extend(chart::course(input, result).into_iter().map(Block::Chart));
    blocks.push(Block::Chart(chart::map(input, result)));
    blocks.extend([load(result), resistor(result), closing(result)].map(Block::Table));
    if !result.choice.candidates.is_empty() {
        blocks.push(Block::Table(choice(result)));
    }
    View { lead, more, blocks }
}

fn figures(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Figure> {
    let PrechargeOutput { charge, short, difference, inrush, .. } = result;
    let mut figures = Vec::new();
    if let Some(time) = charge.time_s {
        let note = format!("{} without load", second(charge.unloaded_s));
        figures.push(Figure::of("Time to the target", second(time), note));
    }
    let slowest = &result.slowest;
    if let Some(certain) = slowest.charge.time_s {
        let note = format!("readings on their bad sides, {}", at_pack(slowest.pack_v));
        figures.push(Figure::of("Closes for certain after", second(certain), note));
    }
    let tau = ("Time constant", second(result.time_constant_s));
    let loaded = result.loaded_time_constant_s.map(|tau| format!("{} with the load", second(tau)));
    figures.push(Figure::of(tau.0, tau.1, loaded.unwrap_or_else(|| "R C".into())));
    let settles = format!("{}, resistor {}", volt(charge.settle_v), watt(charge.settle_power_w));
    let full = format!("½ C (V − V0)² = {}", joule(charge.unloaded_energy_j));
    let shorted = format!("{} for {}", watt(short.power_w), second(input.max_time_s));
    let between = format!("{} to {}", percent(difference.low_percent), percent(difference.high_percent));
    let after = format!("after {}, {}", second(inrush.peak_s), inrush.damping.label());
    figures.extend([
        Figure::of("Settles at", percent(charge.settle_percent), settles),
        Figure::of(
            "Peak current",
            ampere(result.attempt.peak_a),
            if result.attempt.backwards { "backwards, from the link" } else { "at the start" },
        ),
        Figure::of("Energy of one attempt", joule(result.attempt.energy_j), full),
        Figure::of("Shorted link", joule(short.energy_j), shorted),
        Figure::of("True difference up to", volt(difference.largest_v), between),
        Figure::of("Inrush of the main contactor", ampere(inrush.peak_a), after),
    ]);
    figures
}

fn load(result: &PrechargeOutput) -> Table {
    let (charge, limits) = (&result.charge, &result.limits);
    let PrechargePlace { pack_v, limits: heaviest, .. } = &result.heaviest;
    let place = at_pack(*pack_v);
    let note = "With right readings; a load of constant power or current at its wake-up voltage as well. Where it is tightest: readings on their bad sides, the resistance at its upper limit.";
    let mut values = Values::new("load-limits", "What the load may take", note);
    values.row("Largest constant power", watt(limits.largest_power_w), "");
    values.row("The same where it is tightest", watt(heaviest.largest_power_w), &place);
    values.row("Largest constant current", ampere(limits.largest_current_a), "");
    values.row("The same where it is tightest", ampere(heaviest.largest_current_a), &place);
    values.row("Smallest resistance", limits.smallest_load_ohm.map(ohm), "");
    values.row("The same where it is tightest", heaviest.smallest_load_ohm.map(ohm), &place);
    values.row("No equilibrium above", watt(limits.collapse_power_w), "V²/(4 R)");
    values.row("The same where it is tightest", watt(heaviest.collapse_power_w), &place);
    let share = limits.upper_percent.map_or_else(String::new, |share| format!("{} of the pack", percent(share)));
    values.row("Upper equilibrium", limits.upper_v.map(volt), share);
    values.row("Lower equilibrium", limits.lower_v.map(volt), "below it the load pulls the link down");
    values.row("Until the load wakes", charge.asleep_s.map(second), "");
    values.row("From there to the target", charge.awake_s.map(second), "");
    values.table()
}

fn resistor(result: &PrechargeOutput) -> Table {
    let (repeated, short) = (&result.repeated, &result.short);
    let note = "The attempt with most energy over pack voltage and tolerance; temperatures of the hottest one, series after series.";
    let mut values = Values::new("resistor", "The resistor over the attempts", note);
    values.row("Largest power", watt(result.charge.peak_w), "at the start");
    values.row("Attempts of a series", one(f64::from(repeated.attempts)), "");
    values.row("Energy of a series", joule(repeated.series_j), "");
    values.row("Mean power of a series", watt(repeated.series_w), "");
    values.row("Mean with the pause", watt(repeated.cycle_w), "");
    values.row("Mean against a shorted link", watt(repeated.short_w), "");
    values.row("Body temperature in the mean", repeated.mean_degc.map(celsius), "");
    values.row("Highest body temperature", repeated.body_degc.map(celsius), "");
    values.row("Highest body temperature, shorted link", repeated.short_degc.map(celsius), "");
    values.row("Share of the rated pulse, warm", repeated.warm_percent.map(percent), "");
    values.row("Share of the rated pulse, warm, shorted link", repeated.short_warm_percent.map(percent), "");
    let shortest = repeated.shortest_repeat_s.map(second);
    values.row("Shortest time from attempt to attempt", shortest, "for the rated power");
    values.row("Longest time-out against a short", short.allowed_s.map(second), "for the rated pulse");
    values.row("Shorted link until the early check", short.until_check_j.map(joule), "");
    values.row("Equal elements that share a short", short.elements.map(one), "each with the rated pulse");
    values.table()
}

fn closing(result: &PrechargeOutput) -> Table {
    let (difference, inrush) = (&result.difference, &result.inrush);
    let mut values = Values::new("closing", "Closing the main contactor", "At the highest pack voltage.");
    values.row("Nominal difference", percent(difference.nominal_percent), "");
    values.row("Both channels together", percent(difference.error_percent), "limits added");
    values.row("Smallest true difference", volt(difference.low_v), "");
    values.row("Largest true difference", volt(difference.high_v), "");
    let over = if difference.backwards { ", the link above the pack" } else { "" };
    let place = format!("{}{over}", at_pack(difference.largest_at_v));
    values.row("Largest over all pack voltages", volt(difference.largest_v), place);
    values.row("Largest current", ampere(inrush.peak_a), inrush.damping.label());
    values.row("Without inductance", ampere(inrush.bound_a), "upper bound");
    values.row("Units that join: largest difference", result.joining.map(|joining| volt(joining.difference_v)), "");
    values.row("I²t", ampere_squared_second(inrush.a2s), "C dV²/(2 R)");
    values.row("Largest difference for the contactor", inrush.allowed_v.map(volt), "");
    if let Some(early) = &result.early {
        values.row("Expected at the early check", volt(early.expected_v), second(early.time_s).to_string());
        values.row("Short or overload below", volt(early.low_limit_v), "");
        values.row("Capacitor missing above", volt(early.high_limit_v), "");
        values.row("An open path reads up to", volt(early.open_reads_v), "");
        values.row("Shorts seen up to", early.seen_short_ohm.map(ohm), "for certain, with the channel's error");
    }
    values.table()
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
            joule(result.stored_j),
            volt(input.pack_v)
        ));
        if !result.charge.reaches || result.charge.time_s.is_some_and(|time| time > input.max_time_s) {
            care.push(format!(
                "After an attempt that is given up the link still holds {}. Do not rely on time alone: measure.",
                volt(result.charge.time_out_v)
            ));
        }
    }
    care.extend(caution::surface("Resistor surface", result.repeated.short_degc.or(result.repeated.body_degc)));
    care
}
