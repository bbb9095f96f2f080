//! The discharge for a reader.

use super::input::{DischargeInput, WeldReadings};
use super::output::{DischargeOutput, DischargePoint, DischargeWay};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{Unit, ampere, farad, joule, ohm, percent, second, volt, watt};
use crate::report::caution::TOUCH_SAFE_V;
use crate::report::kit::{Series, Values, capital};
use crate::report::worked::{Put, Term, n};
use crate::report::{Axis, Block, Chart, Figure, Step, Stroke, Table, View};

pub(super) fn view(input: &DischargeInput, result: &DischargeOutput, judged: &Ledger) -> View {
    let time = |way: &Option<DischargeWay>| way.as_ref().and_then(|way| way.time_s).map(second);
    let safe = volt(input.safe_v);
    let what = match (time(&result.active), time(&result.passive)) {
        (Some(active), Some(passive)) => format!("{safe} after {active} active, {passive} passive"),
        (Some(active), None) => format!("{safe} after {active} active, and no bleeder"),
        (None, Some(passive)) => format!("{safe} after {passive} passive"),
        (None, None) if result.active.is_none() && result.passive.is_none() => "Nothing discharges the link".into(),
        (None, None) => format!("{safe} is not reached for certain"),
    };
    let lead = match judged.verdict() {
        Verdict::Fails => format!("{what}: a requirement fails"),
        Verdict::Thin => format!("{what}, with little left"),
        _ => what,
    };
    let (stored, start) = (joule(result.stored_j), volt(input.start_v));
    let more = format!("The link holds {stored} at {start}. Times are the longest: every value at its slow limit.");
    let mut blocks = vec![Block::Figures(figures(input, result))];
    if !result.curve.is_empty() {
        blocks.push(Block::Chart(chart(input, result)));
    }
    blocks.push(Block::Table(table(result)));
    View { lead, more, blocks }
}

fn figures(input: &DischargeInput, result: &DischargeOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    for (name, way, limit) in
        [("Active", &result.active, input.active.limit_s), ("Passive", &result.passive, input.passive.limit_s)]
    {
        let Some((way, time)) = way.as_ref().and_then(|way| way.time_s.map(|time| (way, time))) else { continue };
        figures.push(Figure::of(format!("{name} discharge"), second(time), format!("of {} allowed", second(limit))));
        figures.push(Figure::of(format!("{name}, power at the start"), watt(way.start_w), "nominal"));
        if way.highest_w > way.start_w {
            let note = "at the tolerance that takes most";
            figures.push(Figure::of(format!("{name}, highest power"), watt(way.highest_w), note));
        }
    }
    figures.push(Figure::of("Energy of the link", joule(result.stored_j), "½ C V²"));
    if let Some(weld) = &result.weld {
        let note = format!("{} are needed", volt(weld.needed_v));
        figures.push(Figure::of("Smallest drop for the weld test", volt(weld.drop_v), note));
        let note = "half way between welded and opened";
        figures.extend(weld.level_v.map(|level| Figure::of("Level of the weld test", volt(level), note)));
    }
    figures
}

fn chart(input: &DischargeInput, result: &DischargeOutput) -> Chart {
    let (x, y) = (Axis::log("time", Unit::Second), Axis::linear("link voltage", Unit::Volt));
    let title = "Link voltage after the source is disconnected";
    let mut series = Series::new("decay", title, &result.curve, x, |point: &DischargePoint| point.time_s, y).every(5);
    series.level("to be reached", input.safe_v);
    let mut readings = Vec::new();
    if let Some(way) = &result.active {
        series.curve("active", Stroke::Main, |point| point.active_v);
        readings.push(("active", way.left_v, input.active.limit_s));
    }
    if let Some(way) = &result.passive {
        series.curve("passive", Stroke::Second, |point| point.passive_v);
        readings.push(("passive", way.left_v, input.passive.limit_s));
    }
    let said = |(name, left, limit): &(&str, f64, f64)| format!("{name} {} left after {}", volt(*left), second(*limit));
    let finding = capital(&readings.iter().map(said).collect::<Vec<_>>().join("; "));
    for (name, left, limit) in readings {
        series.mark(limit, left, format!("{name}, {}", second(limit)));
    }
    series.chart(finding, format!("From {}, slowest, each way alone", volt(input.start_v)))
}

fn table(result: &DischargeOutput) -> Table {
    let mut values = Values::new("ways", "Ways to discharge", "Each way alone, the source disconnected.");
    for (name, way) in [("Active", &result.active), ("Passive", &result.passive)] {
        let Some(way) = way else { continue };
        values.row(format!("{name}: longest time"), way.time_s.map(second), "every value at its slow limit");
        values.row(format!("{name}: nominal time"), way.nominal_s.map(second), "");
        values.row(format!("{name}: left after the allowed time"), volt(way.left_v), "");
        values.row(format!("{name}: energy left then"), joule(way.left_j), "");
        let largest = way.largest_ohm.map(ohm);
        values.row(format!("{name}: largest resistance for the time"), largest, "nominal, with its tolerance");
        values.row(format!("{name}: its power at the start"), way.largest_w.map(watt), "");
    }
    values.row("Both together", result.together_s.map(second), "slowest");
    values.row("Energy to be removed", joule(result.removed_j), "");
    values.row("Active with the pack connected", result.connected_j.map(joule), "within its allowed time, at most");
    values.row("Energy in the active discharge", result.active.as_ref().map(|_| joule(result.active_j)), "at most");
    values.row("Highest link voltage", volt(result.highest_v), "");
    if let Some(weld) = &result.weld {
        values.row("Weld test: a welded link shows at most", volt(weld.welded_v), "");
        values.row("Weld test: an opened link shows at least", volt(weld.opened_v), "");
        values.row("Weld test: shortest time", weld.shortest_s.map(second), "until a level exists");
    }
    values.table()
}

pub(super) fn cautions(input: &DischargeInput, result: &DischargeOutput) -> Vec<String> {
    let mut cautions = Vec::new();
    for (way, limit) in [(&result.active, input.active.limit_s), (&result.passive, input.passive.limit_s)] {
        if let Some(left) = way.as_ref().map(|way| way.left_v).filter(|left| *left > input.safe_v) {
            cautions.push(format!(
                "After {} the link still holds {}. Do not rely on time alone: measure with a suitable instrument proven before and after.",
                second(limit),
                volt(left)
            ));
        }
    }
    if cautions.is_empty() && input.start_v > TOUCH_SAFE_V {
        let (stored, start) = (joule(result.stored_j), volt(input.start_v));
        cautions.push(format!("The link holds {stored} at {start}. Treat it as charged until measured as discharged."));
    }
    cautions
}

pub(super) fn working(input: &DischargeInput, result: &DischargeOutput) -> Vec<Step> {
    let source = "C dv/dt = −v/R − I − P/v, integrated";
    let (v0, v1, c) = (volt(input.start_v), volt(input.safe_v), farad(input.largest_farad()));
    let (stored, label, energy) = (joule(result.stored_j), "Energy of the link", "energy of a capacitor");
    let highest = volt(input.start_v.max(input.emf_v()));
    let mut steps = vec![Step::worked(label, "E", "½ C V0²", stored, energy, |p| {
        Term::half() * p.of(c) * p.of(highest).squared()
    })];
    for (name, path, way) in [
        ("Active discharge", input.active_slowest(), &result.active),
        ("Passive discharge", input.passive_slowest(), &result.passive),
    ] {
        let (Some(path), Some(time)) = (path, way.as_ref().and_then(|way| way.time_s)) else { continue };
        // What is fed meanwhile, or held up by a machine, is searched for: no closed form gives its time.
        if input.is_fed() && time > 0.0 {
            continue;
        }
        let (time, i, w) = (second(time), ampere(path.ampere), watt(path.watt));
        let (has_i, has_w) = (path.ampere != 0.0, path.watt != 0.0);
        let squares = |p: &Put| p.of(v0).squared() - p.of(v1).squared();
        steps.push(match path.ohm.map(ohm) {
            _ if time.value == 0.0 => Step::worked(name, "t", "0: it is safe from the start", time, source, |_| n(0)),
            Some(r) if !has_i && !has_w => Step::worked(name, "t", "R C ln(V0/Vs)", time, source, |p| {
                p.of(r) * p.of(c) * (p.of(v0) / p.of(v1)).ln()
            }),
            Some(r) if !has_w => Step::worked(name, "t", "R C ln((V0 + I R)/(Vs + I R))", time, source, |p| {
                let drop = || p.of(i) * p.of(r);
                p.of(r) * p.of(c) * ((p.of(v0) + drop()) / (p.of(v1) + drop())).ln()
            }),
            Some(r) if !has_i => Step::worked(name, "t", "½ R C ln((V0² + P R)/(Vs² + P R))", time, source, |p| {
                let square = || p.of(w) * p.of(r);
                let ratio = (p.of(v0).squared() + square()) / (p.of(v1).squared() + square());
                Term::half() * p.of(r) * p.of(c) * ratio.ln()
            }),
            None if !has_i => Step::worked(name, "t", "C (V0² − Vs²)/(2 P)", time, source, |p| {
                p.of(c) * squares(p) / (n(2) * p.of(w))
            }),
            None if !has_w => {
                Step::worked(name, "t", "C (V0 − Vs)/I", time, source, |p| p.of(c) * (p.of(v0) - p.of(v1)) / p.of(i))
            }
            None => {
                let formula = "(C/I) ((V0 − Vs) − (P/I) ln((I V0 + P)/(I Vs + P)))";
                Step::worked(name, "t", formula, time, source, |p| {
                    let at = |volt| p.of(i) * p.of(volt) + p.of(w);
                    let rest = p.of(w) / p.of(i) * (at(v0) / at(v1)).ln();
                    p.of(c) / p.of(i) * (p.of(v0) - p.of(v1) - rest)
                })
            }
            Some(r) => {
                // What the logarithm leaves: the integral of dv/q.
                let at = |v: f64| v * v + i.value * r.value * v + w.value * r.value;
                let log = 0.5 * r.value * c.value * libm::log(at(v0.value) / at(v1.value));
                let rest = second(log - time.value);
                let formula =
                    "½ R C ln(q(V0)/q(Vs)) − ½ I R² C ∫ dv/q, q(v) = v² + I R v + P R, the integral in closed form";
                Step::worked(name, "t", formula, time, source, |p| {
                    let at = |volt| p.of(volt).squared() + p.of(i) * p.of(r) * p.of(volt) + p.of(w) * p.of(r);
                    Term::half() * p.of(r) * p.of(c) * (at(v0) / at(v1)).ln() - p.of(rest)
                })
            }
        });
    }
    if let Some(weld) = &result.weld {
        let (e, change) = (volt(input.weld.reading_error_v.unwrap_or(0.0)), volt(input.weld.pack_change_v));
        let gain = match input.weld.readings {
            WeldReadings::Unrelated => 0.0,
            WeldReadings::Same => input.weld.gain_percent.unwrap_or(0.0),
        };
        let (g, drop, added) = (percent(gain), volt(weld.drop_v), "limits added: worst case");
        let [welded, opened] = [weld.welded_v, weld.opened_v].map(volt);
        let formula = "dVp (1 + g) + 2 e";
        steps.push(Step::worked("A welded link shows at most", "L_w", formula, welded, added, |p| {
            p.of(change) * (n(1) + p.of(g)) + n(2) * p.of(e)
        }));
        steps.push(Step::worked("An opened link shows at least", "L_o", "D (1 − g) − 2 e", opened, added, |p| {
            p.of(drop) * (n(1) - p.of(g)) - n(2) * p.of(e)
        }));
        steps.extend(weld.level_v.map(volt).map(|level| {
            Step::worked("Level of the weld test", "L", "(L_w + L_o)/2", level, "half way", |p| {
                (p.of(welded) + p.of(opened)) / n(2)
            })
        }));
    }
    steps
}
