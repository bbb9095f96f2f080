//! The shunt's numbers for a reader: working, figures, tables and charts.

use super::requirements::OF_PART;
use super::{ShuntInput, ShuntOutput};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, celsius, farad, henry, hertz, kelvin, kelvin_per_watt, ohm, on_side,
    one, percent, ppm, ppm_per_kelvin, ppm_per_square_kelvin, say, second, volt, watt,
};
use crate::report::caution;
use crate::report::kit::{Columns, Series, Values};
use crate::report::worked::{Put, Term, n};
use crate::report::{Axis, Block, Budget, Cell, Chart, Contribution, Curve, Figure, Step, Stroke, Table, Total, View};

const OHM: &str = "Ohm's law";

pub(super) fn working(input: &ShuntInput, result: &ShuntOutput) -> Vec<Step> {
    let (shunt, op) = (&input.shunt, &input.operating);
    let (i, rms, ambient) = (ampere(op.current_a), ampere(result.rms_current_a), celsius(op.ambient_degc));
    let ripple = ampere(op.ripple_current_a);
    let source = "root mean square of a triangle, closed form";
    let mut steps = vec![Step::worked("Current with ripple", "I_rms", "√(I² + Î²/3)", rms, source, |p| {
        (p.of(i).squared() + p.of(ripple).squared() / n(3)).sqrt()
    })];
    steps.extend(steady(input, result).unwrap_or_default());
    let (zero, from) = (celsius(shunt.zero_power_degc), celsius(shunt.derate_from_degc));
    steps.push(Step::worked(
        "Allowed power",
        "P_d",
        "P_r · clamp((T0 − Ta)/(T0 − T1), 0, 1)",
        watt(result.derated_power_w),
        "linear derating in the style of IEC 60115-1 (shape from memory)",
        |p| {
            let share = (p.of(zero) - p.of(ambient)) / (p.of(zero) - p.of(from));
            p.of(watt(shunt.rated_power_w)) * share.clamp(0, 1)
        },
    ));
    steps.extend(largest(input, result));
    if let Some(runaway) = result.runaway_current_a {
        let curve = shunt.curve();
        let (value, slope) =
            (one(1.0 + curve.change(op.ambient_degc)), ppm_per_kelvin(curve.slope(op.ambient_degc) * 1e6));
        let (r_th, r0, b) = (
            kelvin_per_watt(shunt.thermal_resistance_k_per_w),
            ohm(shunt.resistance_ohm),
            ppm_per_square_kelvin(curve.b * 1e6),
        );
        steps.push(Step::worked(
            "Runaway current",
            "I_run",
            "1 / √(Rth R0 (s + 2 √(b c))), c and s value and slope of R(T)/R0 at Ta",
            ampere(runaway),
            "double root of the same balance",
            |p| n(1) / (p.of(r_th) * p.of(r0) * (p.of(slope) + n(2) * (p.of(b) * p.of(value)).sqrt())).sqrt(),
        ));
    }
    if let Some(degc) = result.pulse.element_degc {
        steps.push(after_pulse(input, result, degc));
    }
    let r = ohm(shunt.resistance_ohm);
    let (emf, ends) =
        (Quantity::new(shunt.emf_v_per_k, Unit::VoltPerKelvin), kelvin(shunt.end_temperature_difference_k));
    let (label, current) = ("False current of the thermal EMF", ampere(result.emf.current_a));
    let thermal =
        Step::worked(label, "I_emf", "S ΔTe / R0", current, "Seebeck effect", |p| p.of(emf) * p.of(ends) / p.of(r));
    steps.push(thermal);
    if let (Some(smallest), Some(offset), Some(allowed)) =
        (result.smallest_resistance_ohm, input.readout.offset_v, input.readout.allowed_percent)
    {
        let (label, smallest) = ("Smallest resistance for the offset", ohm(smallest));
        steps.push(Step::worked(label, "R_min", "V_os / (g I_min)", smallest, OHM, |p| {
            p.of(volt(offset)) / (p.of(percent(allowed)) * p.of(ampere(op.smallest_current_a)))
        }));
    }
    if let Some(corner) = result.inductance.corner_hz {
        let (l, with) = (henry(shunt.inductance_henry), &result.inductance);
        let (edge, cancels) =
            ("u = L di/dt, triangle at 50 % duty", "pole-zero cancellation; common practice, no source");
        let (spike, low_pass) = ("Spike of the ripple's edges", "Time constant of the matching low-pass");
        steps.extend([
            Step::worked("Inductive corner", "f_c", "R0 / (2π L)", hertz(corner), "first-order R-L", |p| {
                p.of(r) / (n(2) * Term::pi() * p.of(l))
            }),
            Step::worked(spike, "I_spike", "L · 4 Î f / R0", ampere(with.ripple_spike_a), edge, |p| {
                p.of(l) * n(4) * p.of(ripple) * p.of(hertz(op.ripple_frequency_hz)) / p.of(r)
            }),
            Step::worked(low_pass, "R_f C_f", "L / R0", second(with.time_constant_s), cancels, |p| p.of(l) / p.of(r)),
        ]);
    }
    steps
}

/// The steps of the steady state, when there is one.
fn steady(input: &ShuntInput, result: &ShuntOutput) -> Option<Vec<Step>> {
    let (shunt, op) = (&input.shunt, &input.operating);
    let (rise, element) = (kelvin(result.rise_k?), celsius(result.element_degc?));
    let resistance = ohm(result.resistance_ohm?);
    let [a, b, c] = shunt.node(result.rms_current_a, op.ambient_degc).coefficients();
    let closed = "energy balance of one node; closed form of the quadratic";
    let root = "2 C / (−B + √(B² − 4 A C)); g = Rth I_rms² R0, d = Ta − Tref, A = g b, B = g (a + 2 b d) − 1, C = g (1 + a d + b d²)";
    let distance = kelvin(element.value - shunt.reference_degc);
    let (slope, quadratic) =
        (ppm_per_kelvin(result.effective_tcr_ppm_per_k), ppm_per_square_kelvin(shunt.tcr_quadratic_ppm_per_k2));
    let definition = "definition of the coefficients";
    let (change, formula) = (ppm(result.change_ppm?), "a ΔT + b ΔT²");
    let (node, current) = ("energy balance of one node", ampere(op.current_a));
    let signal = volt(op.current_a * resistance.value);
    Some(vec![
        Step::worked("Rise above ambient, coupled with R(T)", "x", root, rise, closed, balance(a, b, c)),
        Step::worked("Change of the resistance", "ΔR/R0", formula, change, definition, |p| {
            let distance = p.of(distance);
            p.of(slope) * distance.clone() + p.of(quadratic) * distance.squared()
        }),
        Step::worked("Steady power", "P", "I_rms² R(T)", watt(result.power_w?), "Joule's law", |p| {
            p.of(ampere(result.rms_current_a)).squared() * p.of(resistance)
        }),
        Step::worked("Element temperature", "T", "Ta + x", element, node, |p| {
            p.of(celsius(op.ambient_degc)) + p.of(rise)
        }),
        Step::worked("Signal", "V", "I R(T)", signal, OHM, |p| p.of(current) * p.of(resistance)),
    ])
}

/// The temperature after the pulse, about the steady state of the pulse's current where there is one.
fn after_pulse(input: &ShuntInput, result: &ShuntOutput, degc: f64) -> Step {
    let (shunt, op) = (&input.shunt, &input.operating);
    let node = shunt.node(op.pulse_current_a, op.ambient_degc);
    let (ambient, label, source) = (
        celsius(op.ambient_degc),
        "Temperature after the pulse",
        "Bernoulli equation in closed form, checked against an ODE solver",
    );
    let before = result.rise_k.unwrap_or(0.0);
    match node.steady_rise_k() {
        Some(last) => {
            let [quadratic, linear, _] = node.coefficients();
            let slope = 2.0 * quadratic * last + linear;
            let formula = "Ta + x_∞ + y E/(1 − A y (E − 1)/S), y = x_0 − x_∞, E = e^(S t/τ), S = 2 A x_∞ + B of the pulse's current";
            Step::worked(label, "T_p", formula, celsius(degc), source, |p| {
                let (last, slope) = (p.of(kelvin(last)), p.of(one(slope)));
                let distance = p.of(kelvin(before)) - last.clone();
                let grown = (slope.clone() * p.of(second(op.pulse_duration_s))
                    / p.of(second(result.pulse.time_constant_s)))
                .exp();
                let bend = p.of(one(quadratic)) * distance.clone() * (grown.clone() - n(1)) / slope;
                p.of(ambient) + last + distance * grown / (n(1) - bend)
            })
        }
        None => {
            let formula = "Ta + x, τ dx/dt = A x² + B x + C from the steady state, τ = Rth Cth";
            Step::worked(label, "T_p", formula, celsius(degc), source, |p| {
                p.of(ambient) + p.of(kelvin(degc - ambient.value))
            })
        }
    }
}

/// The largest current, with the rise that is allowed; none where nothing flows.
fn largest(input: &ShuntInput, result: &ShuntOutput) -> Option<Step> {
    let shunt = &input.shunt;
    let just_below =
        |sign| shunt.highest(sign).at(result.largest_current_a * (1.0 - 1e-9), input.operating.ambient_degc);
    let state = [1.0, -1.0].into_iter().filter_map(just_below).max_by(|a, b| a.rise_k.total_cmp(&b.rise_k))?;
    Some(Step::worked(
        "Largest continuous current",
        "I_max",
        "√(x_max / (Rth R(Ta + x_max))) of the part that is heated most, x_max the smallest of Rth P_d, Tmax − Ta and, with b > 0, √((1 + a d + b d²)/b)",
        ampere(result.largest_current_a),
        &format!("the same balance, solved for the current; set by {}", result.largest_current_limited_by.label()),
        |p| {
            let heat = p.of(kelvin_per_watt(shunt.thermal_resistance_k_per_w)) * p.of(ohm(state.resistance_ohm));
            (p.of(kelvin(state.rise_k)) / heat).sqrt()
        },
    ))
}

/// The root of the heat balance with its coefficients put in.
pub fn balance(a: f64, b: f64, c: f64) -> impl Fn(&Put) -> Term {
    move |p| {
        let (linear, constant) = (p.of(one(b)), p.of(one(c)));
        let root = (linear.squared() - n(4) * p.of(one(a)) * constant.clone()).sqrt();
        n(2) * constant / (p.of(one(-b)) + root)
    }
}

pub(super) fn cautions(result: &ShuntOutput) -> Vec<String> {
    let hot = caution::surface("Surface", result.hottest.element_degc);
    let live = "A shunt in the main current path sits at pack potential. Treat its sense wires as live.".to_owned();
    std::iter::once(live).chain(hot).collect()
}

/// What it could carry, in words that are not more.
fn carries(result: &ShuntOutput) -> Quantity {
    ampere(on_side(result.largest_current_a, 4, false))
}

pub(super) fn view(input: &ShuntInput, result: &ShuntOutput, judged: &Ledger) -> View {
    let (shunt, op) = (&input.shunt, &input.operating);
    let at = ampere(op.current_a);
    let verdict = match judged.verdict() {
        Verdict::Fails => "fails",
        Verdict::Thin => "holds with little left",
        _ => "holds",
    };
    let lead = match (result.power_w, result.element_degc) {
        (Some(power), Some(degc)) => {
            let signal = volt(op.current_a * shunt.resistance_ohm);
            format!("The shunt {verdict}: nominally {signal} at {at}, {}, {}", watt(power), celsius(degc))
        }
        _ => format!("The shunt fails: thermal runaway at {at}"),
    };
    let (largest, by) = (carries(result), result.largest_current_limited_by.label());
    let mut blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Table(signals(result)),
        Block::Chart(heat_chart(input, result)),
    ];
    blocks.extend(budget(input, result).map(Block::Budget));
    blocks.extend([
        Block::Chart(curve_chart(input, result)),
        Block::Table(inductance(input, result)),
        Block::Table(pulse(input, result)),
    ]);
    View { lead, more: format!("It could carry {largest} rms continuously, set by its {by}; {OF_PART}."), blocks }
}

fn figures(input: &ShuntInput, result: &ShuntOutput) -> Vec<Figure> {
    let at = ampere(input.operating.current_a);
    let (limit, reference) = (celsius(input.shunt.max_element_degc), celsius(input.shunt.reference_degc));
    let figure = |label: &str, value: Option<f64>, of: fn(f64) -> Quantity, note: String| {
        value.map(|value| Figure::of(label, of(value), note))
    };
    let emf = Some(result.emf.current_a);
    let figures = [
        figure("Signal", result.signal_v, volt, format!("at {at}")),
        figure("Steady power", result.power_w, watt, format!("at {at}, ripple included")),
        figure("Element", result.element_degc, celsius, format!("steady, of {limit}")),
        figure("Resistance moved by", result.change_ppm, ppm, format!("against {reference}")),
        figure("Inductive corner", result.inductance.corner_hz, hertz, "above it the shunt is an inductor".into()),
        figure("Runaway current", result.runaway_current_a, ampere, "above it no steady temperature exists".into()),
        figure("False current of the EMF", emf, ampere, "an offset, at any current".into()),
    ];
    figures.into_iter().flatten().collect()
}

fn signals(result: &ShuntOutput) -> Table {
    Columns::new("signal", "Signal, heat and error over current", "Current", &result.signals, |_, signal| {
        ampere(signal.current_a).to_string()
    })
    .note("Error of the shunt alone, worst case, end of life, without calibration.")
    .column("Signal", Unit::Volt, |signal| signal.signal_v)
    .column("Power", Unit::Watt, |signal| signal.power_w)
    .column("Element", Unit::Celsius, |signal| signal.element_degc)
    .column("Error", Unit::Percent, |signal| signal.error_percent.map_or(Cell::Empty, Cell::Limit))
    .table()
}

fn budget(input: &ShuntInput, result: &ShuntOutput) -> Option<Budget> {
    let error = result.error.as_ref()?;
    let worst = error.worst_case_percent;
    let mut terms: Vec<_> = error.terms.iter().collect();
    terms.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    let row = |term: &super::ErrorTerm| Contribution {
        label: term.label.clone(),
        note: String::new(),
        size: term.percent,
        share_percent: if worst > 0.0 { term.percent / worst * 100.0 } else { 0.0 },
        grows: term.label != "Thermal EMF",
    };
    let total =
        |label: &str, note: &str, size: f64| Total { label: label.into(), note: note.into(), size, verdict: None };
    Some(Budget {
        id: "shunt-error".into(),
        caption: format!("Error of the shunt alone at {}", ampere(input.operating.current_a)),
        note: "Percent of the current, end of life, without calibration, at the solved element temperature.".into(),
        unit: Unit::Percent,
        rows: terms.into_iter().map(row).collect(),
        totals: vec![
            total("Worst case", "sum of the limits", worst),
            total("Root-sum-square", "of the limits; no coverage interval", error.root_sum_square_percent),
        ],
    })
}

fn heat_chart(input: &ShuntInput, result: &ShuntOutput) -> Chart {
    let (shunt, op) = (&input.shunt, &input.operating);
    let top = (result.largest_current_a.max(op.current_a) * 1.1).max(1e-3);
    let points: Vec<[f64; 2]> = (0..=60)
        .map(|step| top * f64::from(step) / 60.0)
        .filter_map(|current| shunt.at(current, op.ambient_degc).map(|state| [current, state.element_degc]))
        .take_while(|point| point[1] < 2.0 * shunt.max_element_degc.abs() + 200.0)
        .collect();
    let (x, y) = (Axis::linear("steady current", Unit::Ampere), Axis::linear("element temperature", Unit::Celsius));
    let title = "Element temperature against steady current";
    let mut heat = Series::new("heat", title, &points, x, |point| point[0], y).every(6);
    heat.curve_as("element", "Element temperature", Stroke::Main, |point| Some(point[1]));
    if let Some(degc) = result.element_degc {
        heat.mark(op.current_a, degc, format!("{} at {}", celsius(degc), ampere(op.current_a)));
    }
    let (largest, by) = (carries(result), result.largest_current_limited_by.label());
    let (ambient, r_th) = (celsius(op.ambient_degc), kelvin_per_watt(shunt.thermal_resistance_k_per_w));
    let mut heat = heat.chart(
        format!("The shunt could carry {largest} rms steadily, set by its {by}"),
        format!("Ambient {ambient}, {r_th} to ambient, without ripple"),
    );
    // Over the whole axis: the curve may end earlier, in runaway.
    let points = vec![[0.0, shunt.max_element_degc], [top, shunt.max_element_degc]];
    heat.curves.push(Curve { label: "allowed".into(), stroke: Stroke::Allowed, points });
    heat
}

fn curve_chart(input: &ShuntInput, result: &ShuntOutput) -> Chart {
    let (x, y) = (Axis::linear("element temperature", Unit::Celsius), Axis::linear("change", Unit::Ppm));
    let title = "Change of the resistance against element temperature";
    let mut curve = Series::new("curve", title, &result.curve, x, |point| point.degc, y).every(3);
    curve.column("Resistance", Unit::Ohm, |point| Some(point.resistance_ohm));
    curve.curve_as("this shunt", "Change", Stroke::Main, |point| Some(point.change_ppm));
    curve.column("Copper would change", Unit::Ppm, |point| Some(point.copper_change_ppm));
    if let (Some(degc), Some(change)) = (result.element_degc, result.change_ppm) {
        curve.mark(degc, change, ppm(change).to_string());
    }
    let finding = match input.shunt.curve().vertex_degc().map(celsius) {
        Some(vertex) => {
            format!("The curve turns at {vertex}: the largest change need not be at the hottest corner")
        }
        None => format!("The resistance moves by {} per kelvin", ppm(result.effective_tcr_ppm_per_k)),
    };
    let conditions = result.compensation.as_ref().map(|with| {
        let sensor = kelvin(input.compensation.sensor_error_k);
        let (left, of) = (ppm(with.corrected_ppm), ppm(with.uncorrected_ppm));
        let worth = if with.worthwhile { "worth having" } else { "not worth having" };
        format!("Correction by a sensor good to ±{sensor} leaves {left} of {of}: {worth}")
    });
    let mut curve = curve.chart(finding, conditions.unwrap_or_default());
    curve.table.note = "Copper for comparison: IEC 60028, 3930 ppm/K at 20 °C.".into();
    curve
}

fn inductance(input: &ShuntInput, result: &ShuntOutput) -> Table {
    let (op, with) = (&input.operating, &result.inductance);
    let note = "The mean value is untouched while the chain is linear; a clipped spike becomes a DC error.";
    let mut values = Values::new("inductance", "Inductance and ripple", note);
    values.row("Corner", with.corner_hz.map(hertz), "R0 / (2π L)");
    let (gain, at) = (format!("{} × R", one(with.ripple_gain)), format!("at {}", hertz(op.ripple_frequency_hz)));
    values.words("Impedance at the ripple", gain, at);
    let (spike, amplitude) = (volt(with.ripple_spike_v), ampere(op.ripple_current_a));
    let before = format!("±{spike} of {amplitude} amplitude, before any filter");
    values.words("Ripple spike", format!("±{}", ampere(with.ripple_spike_a)), before);
    let slew = format!("{} for {}", volt(with.slew_error_v), say(op.slew_a_per_s, Unit::AmperePerSecond));
    values.row("At the fastest change of current", ampere(with.slew_error_a), slew);
    values.row("Matching time constant", second(with.time_constant_s), "R_f C_f = L / R0");
    let series = format!("with {}", ohm(input.matching.series_ohm));
    values.row("Matching capacitance", with.matching_farad.map(farad), series);
    let left = format!("{} to {}", percent(with.residual_slow_percent), percent(with.residual_fast_percent));
    let off = format!("time constants off by ±{}", percent(input.matching.time_constant_error_percent));
    values.words("Left at the ripple after matching", left, off);
    values.table()
}

fn pulse(input: &ShuntInput, result: &ShuntOutput) -> Table {
    let (op, pulse) = (&input.operating, &result.pulse);
    let caption = format!("Pulse of {} for {}", ampere(op.pulse_current_a), second(op.pulse_duration_s));
    let note = format!("From the steady state; thermal time constant {}.", second(pulse.time_constant_s));
    let mut values = Values::new("pulse", &caption, note);
    let or = |value: Option<Quantity>, other: &str| value.map_or_else(|| other.into(), |value| value.to_string());
    let none = "left out: no steady state";
    values.words("Power at its beginning", or(pulse.power_w.map(watt), none), "");
    let melts = if pulse.power_w.is_some() { "it melts" } else { none };
    values.words("Temperature at its end", or(pulse.element_degc.map(celsius), melts), "");
    values.row("The same, of the hottest part", result.hottest.pulse_degc.map(celsius), "");
    values.words("Rise if no heat left", or(pulse.adiabatic_rise_k.map(kelvin), melts), "an upper bound");
    values.row("Let-through", ampere_squared_second(pulse.let_through_a2s), "");
    let limit = ampere_squared_second(pulse.adiabatic_limit_a2s);
    values.row("Adiabatic limit", limit, "to the highest element temperature");
    values.words("Longest duration", or(pulse.longest_s.map(second), "no limit"), "of this pulse");
    values.table()
}
