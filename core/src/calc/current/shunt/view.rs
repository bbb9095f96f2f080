//! The shunt's numbers for a reader: working, figures, tables and charts.

use super::{Shunt, ShuntInput, ShuntOutput};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Budget, Cell, Chart, Column, Contribution, Curve, Figure, Finding, Mark, Row, Step, Stroke, Table,
    Total, Verdict, View,
};

const OHM: &str = "Ohm's law";
const JOULE: &str = "Joule's law";

pub(super) fn working(input: &ShuntInput, result: &ShuntOutput) -> Vec<Step> {
    let (shunt, op) = (&input.shunt, &input.operating);
    let q = Quantity::new;
    let i = say(op.current_a, Unit::Ampere);
    let mut steps = vec![Step::new(
        "Current with ripple",
        "I_rms",
        "√(I² + Î²/3)",
        format!("√(({i})² + ({})²/3)", say(op.ripple_current_a, Unit::Ampere)),
        q(result.rms_current_a, Unit::Ampere),
        "root mean square of a triangle, closed form",
    )];
    if let (Some(rise), Some(element), Some(resistance), Some(power), Some(change)) =
        (result.rise_k, result.element_degc, result.resistance_ohm, result.power_w, result.change_ppm)
    {
        let [a, b, c] = shunt.node(result.rms_current_a, op.ambient_degc).coefficients();
        steps.extend([
            Step::new(
                "Rise above ambient, coupled with R(T)",
                "x",
                "2 C / (−B + √(B² − 4 A C)); g = Rth I_rms² R0, d = Ta − Tref, A = g b, B = g (a + 2 b d) − 1, C = g (1 + a d + b d²)",
                balance_words(a, b, c),
                q(rise, Unit::Kelvin),
                "energy balance of one node; closed form of the quadratic",
            ),
            Step::new(
                "Change of the resistance",
                "ΔR/R0",
                "a ΔT + b ΔT²",
                format!(
                    "{} · {} + {} · ({})²",
                    say(result.effective_tcr_ppm_per_k, Unit::PpmPerKelvin),
                    say(element - shunt.reference_degc, Unit::Kelvin),
                    say(shunt.tcr_quadratic_ppm_per_k2, Unit::PpmPerSquareKelvin),
                    say(element - shunt.reference_degc, Unit::Kelvin)
                ),
                q(change, Unit::Ppm),
                "definition of the coefficients",
            ),
            Step::new(
                "Steady power",
                "P",
                "I_rms² R(T)",
                format!("({})² · {}", say(result.rms_current_a, Unit::Ampere), say(resistance, Unit::Ohm)),
                q(power, Unit::Watt),
                JOULE,
            ),
            Step::new(
                "Element temperature",
                "T",
                "Ta + x",
                format!("{} + {}", say(op.ambient_degc, Unit::Celsius), say(rise, Unit::Kelvin)),
                q(element, Unit::Celsius),
                "energy balance of one node",
            ),
            Step::new(
                "Signal",
                "V",
                "I R(T)",
                format!("{i} · {}", say(resistance, Unit::Ohm)),
                q(op.current_a * resistance, Unit::Volt),
                OHM,
            ),
        ]);
    }
    steps.push(Step::new(
        "Allowed power",
        "P_d",
        "P_r · clamp((T0 − Ta)/(T0 − T1), 0, 1)",
        format!(
            "{} · clamp(({} − {})/({} − {}), 0, 1)",
            say(shunt.rated_power_w, Unit::Watt),
            say(shunt.zero_power_degc, Unit::Celsius),
            say(op.ambient_degc, Unit::Celsius),
            say(shunt.zero_power_degc, Unit::Celsius),
            say(shunt.derate_from_degc, Unit::Celsius)
        ),
        q(result.derated_power_w, Unit::Watt),
        "linear derating in the style of IEC 60115-1 (shape from memory)",
    ));
    steps.push(Step::new(
        "Largest continuous current",
        "I_max",
        "√(x_max / (Rth R(Ta + x_max))), x_max the smallest of Rth P_d, Tmax − Ta and, with b > 0, √((1 + a d + b d²)/b)",
        largest_words(shunt, op.ambient_degc, result),
        q(result.largest_current_a, Unit::Ampere),
        "the same balance, solved for the current",
    ));
    if let Some(degc) = result.pulse.element_degc {
        steps.push(Step::new(
            "Temperature after the pulse",
            "T_p",
            "τ dx/dt = A x² + B x + C from the steady state, τ = Rth Cth",
            format!(
                "{} for {}, τ = {}",
                say(op.pulse_current_a, Unit::Ampere),
                say(op.pulse_duration_s, Unit::Second),
                say(result.pulse.time_constant_s, Unit::Second)
            ),
            q(degc, Unit::Celsius),
            "Bernoulli equation in closed form, checked against an ODE solver",
        ));
    }
    steps.push(Step::new(
        "False current of the thermal EMF",
        "I_emf",
        "S ΔTe / R0",
        format!(
            "{} · {} / {}",
            say(shunt.emf_v_per_k, Unit::VoltPerKelvin),
            say(shunt.end_temperature_difference_k, Unit::Kelvin),
            say(shunt.resistance_ohm, Unit::Ohm)
        ),
        q(result.emf.current_a, Unit::Ampere),
        "Seebeck effect",
    ));
    if let (Some(smallest), Some(offset), Some(allowed)) =
        (result.smallest_resistance_ohm, input.readout.offset_v, input.readout.allowed_percent)
    {
        steps.push(Step::new(
            "Smallest resistance for the offset",
            "R_min",
            "V_os / (g I_min)",
            format!(
                "{} / ({} · {})",
                say(offset, Unit::Volt),
                say(allowed, Unit::Percent),
                say(op.smallest_current_a, Unit::Ampere)
            ),
            q(smallest, Unit::Ohm),
            OHM,
        ));
    }
    if let Some(corner) = result.inductance.corner_hz {
        let (r, l) = (say(shunt.resistance_ohm, Unit::Ohm), say(shunt.inductance_henry, Unit::Henry));
        steps.extend([
            Step::new(
                "Inductive corner",
                "f_c",
                "R0 / (2π L)",
                format!("{r} / (2π · {l})"),
                q(corner, Unit::Hertz),
                "first-order R-L",
            ),
            Step::new(
                "Spike of the ripple's edges",
                "I_spike",
                "L · 4 Î f / R0",
                format!(
                    "{l} · 4 · {} · {} / {r}",
                    say(op.ripple_current_a, Unit::Ampere),
                    say(op.ripple_frequency_hz, Unit::Hertz)
                ),
                q(result.inductance.ripple_spike_a, Unit::Ampere),
                "u = L di/dt, triangle at 50 % duty",
            ),
            Step::new(
                "Time constant of the matching low-pass",
                "R_f C_f",
                "L / R0",
                format!("{l} / {r}"),
                q(result.inductance.time_constant_s, Unit::Second),
                "pole-zero cancellation; common practice, no source",
            ),
        ]);
    }
    steps
}

/// The rise that is allowed, put into the formula of the largest current.
fn largest_words(shunt: &Shunt, ambient_degc: f64, result: &ShuntOutput) -> String {
    let at = shunt.at(result.largest_current_a * (1.0 - 1e-9), ambient_degc);
    let by = result.largest_current_limited_by.label();
    at.map_or_else(
        || format!("set by {by}"),
        |state| {
            format!(
                "√({} / ({} · {})), set by {by}",
                say(state.rise_k, Unit::Kelvin),
                say(shunt.thermal_resistance_k_per_w, Unit::KelvinPerWatt),
                say(state.resistance_ohm, Unit::Ohm)
            )
        },
    )
}

/// The root of the heat balance with its coefficients put in.
pub fn balance_words(a: f64, b: f64, c: f64) -> String {
    let six = |value: f64| Quantity::new(value, Unit::One).significant(7).number;
    format!("2 · {} / ({} + √(({})² − 4 · ({}) · {}))", six(c), six(-b), six(b), six(a), six(c))
}

pub(super) fn view(input: &ShuntInput, result: &ShuntOutput, findings: &[Finding]) -> View {
    let (shunt, op) = (&input.shunt, &input.operating);
    let mut care =
        vec!["A shunt in the main current path sits at pack potential. Treat its sense wires as live.".to_owned()];
    if let Some(hot) = result.element_degc.filter(|hot| *hot > 70.0) {
        care.push(format!(
            "Surface near {} in the worst case: burn and fire risk; check neighbouring plastics and solder.",
            say(hot, Unit::Celsius)
        ));
    }
    let mut view = View { checks: result.checks.clone(), care, ..View::default() };
    let signal =
        format!("{} at {}", say(op.current_a * shunt.resistance_ohm, Unit::Volt), say(op.current_a, Unit::Ampere));
    view.lead = match (result.power_w, result.element_degc, view.verdict(findings)) {
        (Some(power), Some(degc), verdict) => format!(
            "The shunt {}: {signal}, {}, {}",
            match verdict {
                Verdict::Fails => "fails",
                Verdict::Thin => "holds with little left",
                _ => "holds",
            },
            say(power, Unit::Watt),
            say(degc, Unit::Celsius)
        ),
        _ => format!("The shunt fails: thermal runaway at {}", say(op.current_a, Unit::Ampere)),
    };
    view.more = format!(
        "It could carry {} continuously, set by its {}.",
        say(result.largest_current_a, Unit::Ampere),
        result.largest_current_limited_by.label()
    );
    view.blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Table(signals(result)),
        Block::Chart(heat_chart(shunt, input, result)),
    ];
    view.blocks.extend(budget(input, result).map(Block::Budget));
    view.blocks.extend([
        Block::Chart(curve_chart(shunt, input, result)),
        Block::Table(inductance(input, result)),
        Block::Table(pulse(input, result)),
    ]);
    view
}

fn figures(input: &ShuntInput, result: &ShuntOutput) -> Vec<Figure> {
    let op = &input.operating;
    let at = say(op.current_a, Unit::Ampere);
    let mut figures = Vec::new();
    if let Some(signal) = result.signal_v {
        figures.push(Figure::new("Signal", signal, Unit::Volt, format!("at {at}")));
    }
    if let (Some(power), Some(degc)) = (result.power_w, result.element_degc) {
        figures.push(Figure::new("Steady power", power, Unit::Watt, format!("at {at}, ripple included")));
        figures.push(Figure::new(
            "Element",
            degc,
            Unit::Celsius,
            format!("steady, of {}", say(input.shunt.max_element_degc, Unit::Celsius)),
        ));
    }
    if let Some(change) = result.change_ppm {
        figures.push(Figure::new(
            "Resistance moved by",
            change,
            Unit::Ppm,
            format!("against {}", say(input.shunt.reference_degc, Unit::Celsius)),
        ));
    }
    if let Some(corner) = result.inductance.corner_hz {
        figures.push(Figure::new("Inductive corner", corner, Unit::Hertz, "above it the shunt is an inductor"));
    }
    figures.push(Figure::new(
        "False current of the EMF",
        result.emf.current_a,
        Unit::Ampere,
        "an offset, at any current",
    ));
    figures
}

fn signals(result: &ShuntOutput) -> Table {
    Table {
        id: "signal".into(),
        caption: "Signal, heat and error over current".into(),
        note: "Error of the shunt alone, worst case, end of life, without calibration.".into(),
        head: "Current".into(),
        columns: vec![
            Column::of("Signal", Unit::Volt),
            Column::of("Power", Unit::Watt),
            Column::of("Element", Unit::Celsius),
            Column::of("Error", Unit::Percent),
        ],
        rows: result
            .signals
            .iter()
            .map(|signal| Row {
                head: say(signal.current_a, Unit::Ampere),
                note: String::new(),
                cells: vec![
                    Cell::Number(signal.signal_v),
                    signal.power_w.into(),
                    signal.element_degc.into(),
                    signal.error_percent.map_or(Cell::Empty, Cell::Limit),
                ],
            })
            .collect(),
    }
}

fn budget(input: &ShuntInput, result: &ShuntOutput) -> Option<Budget> {
    let error = result.error.as_ref()?;
    let mut terms = error.terms.clone();
    terms.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    Some(Budget {
        id: "shunt-error".into(),
        caption: format!("Error of the shunt alone at {}", say(input.operating.current_a, Unit::Ampere)),
        note: "Percent of the current, end of life, without calibration, at the solved element temperature.".into(),
        unit: Unit::Percent,
        rows: terms
            .iter()
            .map(|term| Contribution {
                label: term.label.clone(),
                note: String::new(),
                size: term.percent,
                share_percent: if error.worst_case_percent > 0.0 {
                    term.percent / error.worst_case_percent * 100.0
                } else {
                    0.0
                },
                grows: term.label != "Thermal EMF",
            })
            .collect(),
        totals: vec![
            Total {
                label: "Worst case".into(),
                note: "sum of the limits".into(),
                size: error.worst_case_percent,
                verdict: None,
            },
            Total {
                label: "Root-sum-square".into(),
                note: "of the limits; no coverage interval".into(),
                size: error.root_sum_square_percent,
                verdict: None,
            },
        ],
    })
}

fn heat_chart(shunt: &Shunt, input: &ShuntInput, result: &ShuntOutput) -> Chart {
    let op = &input.operating;
    let top = (result.largest_current_a.max(op.current_a) * 1.1).max(1e-3);
    let points: Vec<[f64; 2]> = (0..=60)
        .filter_map(|step| {
            let current = top * f64::from(step) / 60.0;
            shunt.at(current, op.ambient_degc).map(|state| [current, state.element_degc])
        })
        .take_while(|point| point[1] < 2.0 * shunt.max_element_degc.abs() + 200.0)
        .collect();
    let limit = shunt.max_element_degc;
    let marks = result.element_degc.map(|degc| Mark {
        x: op.current_a,
        y: degc,
        label: format!("{} at {}", say(degc, Unit::Celsius), say(op.current_a, Unit::Ampere)),
    });
    Chart {
        id: "heat".into(),
        finding: format!(
            "The shunt could carry {} steadily, set by its {}",
            say(result.largest_current_a, Unit::Ampere),
            result.largest_current_limited_by.label()
        ),
        conditions: format!(
            "Ambient {}, {} to ambient, without ripple",
            say(op.ambient_degc, Unit::Celsius),
            say(shunt.thermal_resistance_k_per_w, Unit::KelvinPerWatt)
        ),
        title: "Element temperature against steady current".into(),
        x: Axis::linear("steady current", Unit::Ampere),
        y: Axis::linear("element temperature", Unit::Celsius),
        table: Table {
            id: "heat-values".into(),
            caption: "Element temperature".into(),
            note: String::new(),
            head: "Current".into(),
            columns: vec![Column::of("Element temperature", Unit::Celsius)],
            rows: points
                .iter()
                .step_by(6)
                .map(|point| row(say(point[0], Unit::Ampere), vec![Cell::Number(point[1])]))
                .collect(),
        },
        curves: vec![
            Curve { label: "element".into(), stroke: Stroke::Main, points },
            Curve { label: "allowed".into(), stroke: Stroke::Allowed, points: vec![[0.0, limit], [top, limit]] },
        ],
        marks: marks.into_iter().collect(),
    }
}

fn curve_chart(shunt: &Shunt, input: &ShuntInput, result: &ShuntOutput) -> Chart {
    let points =
        |with: fn(&super::CurvePoint) -> f64| result.curve.iter().map(|point| [point.degc, with(point)]).collect();
    let finding = match shunt.curve().vertex_degc() {
        Some(vertex) => format!(
            "The curve turns at {}: the largest change need not be at the hottest corner",
            say(vertex, Unit::Celsius)
        ),
        None => format!("The resistance moves by {} per kelvin", say(result.effective_tcr_ppm_per_k, Unit::Ppm)),
    };
    Chart {
        id: "curve".into(),
        finding,
        conditions: result.compensation.as_ref().map_or_else(String::new, |with| {
            format!(
                "Correction by a sensor good to ±{} leaves {} of {}: {}",
                say(input.compensation.sensor_error_k, Unit::Kelvin),
                say(with.corrected_ppm, Unit::Ppm),
                say(with.uncorrected_ppm, Unit::Ppm),
                if with.worthwhile { "worth having" } else { "not worth having" }
            )
        }),
        title: "Change of the resistance against element temperature".into(),
        x: Axis::linear("element temperature", Unit::Celsius),
        y: Axis::linear("change", Unit::Ppm),
        curves: vec![Curve {
            label: "this shunt".into(),
            stroke: Stroke::Main,
            points: points(|point| point.change_ppm),
        }],
        marks: match (result.element_degc, result.change_ppm) {
            (Some(degc), Some(ppm)) => vec![Mark { x: degc, y: ppm, label: say(ppm, Unit::Ppm) }],
            _ => Vec::new(),
        },
        table: Table {
            id: "curve-values".into(),
            caption: "Resistance over temperature".into(),
            note: "Copper for comparison: IEC 60028, 3930 ppm/K at 20 °C.".into(),
            head: "Temperature".into(),
            columns: vec![
                Column::of("Resistance", Unit::Ohm),
                Column::of("Change", Unit::Ppm),
                Column::of("Copper would change", Unit::Ppm),
            ],
            rows: result
                .curve
                .iter()
                .step_by(3)
                .map(|point| {
                    row(
                        say(point.degc, Unit::Celsius),
                        vec![
                            Cell::Number(point.resistance_ohm),
                            Cell::Number(point.change_ppm),
                            Cell::Number(point.copper_change_ppm),
                        ],
                    )
                })
                .collect(),
        },
    }
}

fn inductance(input: &ShuntInput, result: &ShuntOutput) -> Table {
    let with = &result.inductance;
    let fact =
        |head: &str, value: String, note: String| Row { head: head.into(), note, cells: vec![Cell::Words(value)] };
    let mut rows = Vec::new();
    if let Some(corner) = with.corner_hz {
        rows.push(fact("Corner", say(corner, Unit::Hertz), "R0 / (2π L)".into()));
    }
    rows.extend([
        fact(
            "Impedance at the ripple",
            format!("{} × R", say(with.ripple_gain, Unit::One)),
            format!("at {}", say(input.operating.ripple_frequency_hz, Unit::Hertz)),
        ),
        fact(
            "Ripple spike",
            format!("±{}", say(with.ripple_spike_a, Unit::Ampere)),
            format!(
                "±{} of {} amplitude, before any filter",
                say(with.ripple_spike_v, Unit::Volt),
                say(input.operating.ripple_current_a, Unit::Ampere)
            ),
        ),
        fact(
            "At the fastest change of current",
            say(with.slew_error_a, Unit::Ampere),
            format!(
                "{} for {}",
                say(with.slew_error_v, Unit::Volt),
                say(input.operating.slew_a_per_s, Unit::AmperePerSecond)
            ),
        ),
        fact("Matching time constant", say(with.time_constant_s, Unit::Second), "R_f C_f = L / R0".into()),
    ]);
    if let Some(capacitance) = with.matching_farad {
        rows.push(fact(
            "Matching capacitance",
            say(capacitance, Unit::Farad),
            format!("with {}", say(input.matching.series_ohm, Unit::Ohm)),
        ));
    }
    rows.push(fact(
        "Left at the ripple after matching",
        format!(
            "{} to {}",
            say(with.residual_slow_percent, Unit::Percent),
            say(with.residual_fast_percent, Unit::Percent)
        ),
        format!("time constants off by ±{}", say(input.matching.time_constant_error_percent, Unit::Percent)),
    ));
    Table {
        id: "inductance".into(),
        caption: "Inductance and ripple".into(),
        note: "The mean value is untouched while the chain is linear; a clipped spike becomes a DC error.".into(),
        head: "What".into(),
        columns: vec![Column::words("Value")],
        rows,
    }
}

fn pulse(input: &ShuntInput, result: &ShuntOutput) -> Table {
    let pulse = &result.pulse;
    let fact = |head: &str, value: String, note: &str| Row {
        head: head.into(),
        note: note.into(),
        cells: vec![Cell::Words(value)],
    };
    let left_out = || "left out: no steady state".to_owned();
    Table {
        id: "pulse".into(),
        caption: format!(
            "Pulse of {} for {}",
            say(input.operating.pulse_current_a, Unit::Ampere),
            say(input.operating.pulse_duration_s, Unit::Second)
        ),
        note: format!("From the steady state; thermal time constant {}.", say(pulse.time_constant_s, Unit::Second)),
        head: "What".into(),
        columns: vec![Column::words("Value")],
        rows: vec![
            fact("Power at its beginning", pulse.power_w.map_or_else(left_out, |power| say(power, Unit::Watt)), ""),
            fact(
                "Temperature at its end",
                pulse.element_degc.map_or_else(left_out, |degc| say(degc, Unit::Celsius)),
                "",
            ),
            fact(
                "Rise if no heat left",
                pulse.adiabatic_rise_k.map_or_else(left_out, |rise| say(rise, Unit::Kelvin)),
                "upper bound for short pulses",
            ),
            fact("Let-through", say(pulse.let_through_a2s, Unit::AmpereSquaredSecond), ""),
            fact(
                "Adiabatic limit",
                say(pulse.adiabatic_limit_a2s, Unit::AmpereSquaredSecond),
                "to the highest element temperature",
            ),
            fact(
                "Longest duration",
                pulse.longest_s.map_or_else(|| "no limit".to_owned(), |longest| say(longest, Unit::Second)),
                "of this pulse",
            ),
        ],
    }
}

fn row(head: String, cells: Vec<Cell>) -> Row {
    Row { head, note: String::new(), cells }
}
