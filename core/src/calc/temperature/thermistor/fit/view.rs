//! The fit's numbers for a reader.

use super::{FittedCoefficient, ThermistorFitOutput};
use crate::calc::temperature::thermistor::curve::Curve as Sensor;
use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Quantity, Unit, say};
use crate::report::worked::n;
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Mark, Row, Step, Stroke, Table, View};

/// Most points that are marked in a chart and listed in a table.
const SHOWN: usize = 200;

pub(super) fn working(result: &ThermistorFitOutput) -> Vec<Step> {
    let q = Quantity::new;
    let exact = result.degrees_of_freedom == 0;
    let source = if exact { "exact through the points" } else { "least squares by QR; JCGM 100:2008 H.3" };
    let absolute = |degc: f64| q(degc + ZERO_CELSIUS_K, Unit::Kelvin);
    let mut steps = Vec::new();
    if let Some(found) = &result.beta {
        let (beta, r25) = (q(found.beta_k.value, Unit::One), q(found.r25_ohm.value, Unit::Ohm));
        let fitted = if exact { "" } else { " of the line of least Σ (T² (Y − a − b L))²" };
        let formula = format!("1/b, b the slope of Y = 1/T over L = ln(R/Ω){fitted}");
        steps.push(Step::worked("Beta, in kelvin", "B", &formula, beta, source, |p| {
            n(1) / p.of(q(1.0 / beta.value, Unit::One))
        }));
        let mean = 1.0 / absolute(25.0).value - libm::log(r25.value) / beta.value;
        let formula = format!("e^((1/298.15 K − a)/b), a and b{}", if exact { " through the points" } else { fitted });
        steps.push(Step::worked("Resistance at 25 °C", "R25", &formula, r25, source, |p| {
            ((n(1) / p.of(absolute(25.0)) - p.of(q(mean, Unit::One))) * p.of(beta)).exp()
        }));
    }
    if let Some(found) = &result.steinhart_hart {
        let [a, b, c] = [found.a.value, found.b.value, found.c.value].map(|value| q(value, Unit::One));
        let last = result.points.len() - 1;
        let formula = if exact {
            "1/T = A + B L + C L³, L = ln(R/Ω), at a point of the curve"
        } else {
            "1/T = A + B L + C L³, L = ln(R/Ω), at a point of the curve of least Σ (T² (Y − A − B L − C L³))²"
        };
        for (symbol, value, point) in [("C", c, last), ("B", b, last / 2), ("A", a, 0)] {
            let point = &result.points[point];
            let (r, t) = (q(point.resistance_ohm, Unit::Ohm), absolute(point.fitted_degc));
            steps.push(Step::solved(&format!("Coefficient {symbol}"), symbol, formula, value, source, |p| {
                let log = p.of(r).ln();
                [n(1) / p.of(t), p.of(a) + p.of(b) * log.clone() + p.of(c) * log.power(3)]
            }));
        }
    }
    let (first, second) = (ends(result, result.from_degc), ends(result, result.to_degc));
    if let Some((cold, hot)) = first.zip(second) {
        steps.push(Step::worked(
            "Beta between the ends, in kelvin",
            "B_ends",
            "ln(R1/R2)/(1/T1 − 1/T2)",
            q(result.beta_of_ends_k, Unit::One),
            "IEC 60539-1 (from memory)",
            |p| {
                let inverse = |degc: f64| n(1) / p.of(absolute(degc));
                (p.of(cold) / p.of(hot)).ln() / (inverse(result.from_degc) - inverse(result.to_degc))
            },
        ));
    }
    if let Some(s) = result.deviation_k {
        let squares: f64 = result.points.iter().map(|point| point.residual_k.powi(2)).sum();
        let (label, formula) = ("Scatter about the curve", "√(Σ r²/(N − p)), N − p degrees of freedom");
        steps.push(Step::worked(label, "s", formula, q(s, Unit::Kelvin), "JCGM 100:2008 H.3", |p| {
            (p.of(q(squares, Unit::One)) / n(result.degrees_of_freedom)).sqrt()
        }));
    }
    steps
}

/// The resistance of the point at an end.
fn ends(result: &ThermistorFitOutput, degc: f64) -> Option<Quantity> {
    let found = result.points.iter().find(|point| point.degc == degc);
    found.map(|point| Quantity::new(point.resistance_ohm, Unit::Ohm))
}

/// A coefficient in the one form of this page, with a power of ten and the true minus sign.
fn coefficient(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$e}").replace('-', "−")
}

pub(super) fn view(curve: &Sensor, result: &ThermistorFitOutput) -> View {
    let mut figures = vec![Figure::new(
        "Worst residual",
        result.worst_residual_k,
        Unit::Kelvin,
        format!("row {}", result.worst_line),
    )];
    if let Some(s) = result.deviation_k {
        figures.push(Figure::new("Scatter about the curve", s, Unit::Kelvin, "standard deviation"));
    }
    if let Some(found) = &result.beta {
        figures.push(Figure::new("Beta in kelvin", found.beta_k.value, Unit::One, half(&found.beta_k, Unit::One)));
        figures.push(Figure::new(
            "Resistance at 25 °C",
            found.r25_ohm.value,
            Unit::Ohm,
            half(&found.r25_ohm, Unit::Ohm),
        ));
    }
    figures.push(Figure::new(
        "Beta between the ends in kelvin",
        result.beta_of_ends_k,
        Unit::One,
        "of the coldest and the hottest point",
    ));
    let lead = match (&result.beta, &result.steinhart_hart) {
        (Some(found), _) => {
            format!(
                "B = {} K, R25 = {}",
                Quantity::new(found.beta_k.value, Unit::One).brief(6),
                say(found.r25_ohm.value, Unit::Ohm)
            )
        }
        (None, Some(found)) => {
            format!(
                "A = {}, B = {}, C = {} per kelvin",
                coefficient(found.a.value, 9),
                coefficient(found.b.value, 9),
                coefficient(found.c.value, 9)
            )
        }
        (None, None) => "No curve".into(),
    };
    View {
        lead,
        more: format!(
            "The worst of {} points, line {}, is read {} off. The curve holds from {} to {}.",
            result.points.len(),
            result.worst_line,
            say(result.worst_residual_k, Unit::Kelvin),
            say(result.from_degc, Unit::Celsius),
            say(result.to_degc, Unit::Celsius)
        ),
        blocks: vec![
            Block::Figures(figures),
            Block::Table(coefficients(result)),
            Block::Chart(residual_chart(result)),
            Block::Chart(curve_chart(curve, result)),
        ],
    }
}

fn half(found: &FittedCoefficient, unit: Unit) -> String {
    found
        .half_width_95
        .map_or_else(|| "no spare points".into(), |half| format!("± {}, 95 %", Quantity::new(half, unit).brief(2)))
}

fn coefficients(result: &ThermistorFitOutput) -> Table {
    let row = |head: &str, found: &FittedCoefficient| Row {
        head: head.into(),
        note: String::new(),
        cells: vec![
            Cell::Words(coefficient(found.value, 12)),
            found.standard_error.map_or(Cell::Empty, |error| Cell::Words(coefficient(error, 2))),
        ],
    };
    let mut rows = Vec::new();
    if let Some(found) = &result.beta {
        rows.extend([row("R25 in Ω", &found.r25_ohm), row("B in K", &found.beta_k)]);
    }
    if let Some(found) = &result.steinhart_hart {
        rows.extend([row("A in 1/K", &found.a), row("B in 1/K", &found.b), row("C in 1/K", &found.c)]);
    }
    Table {
        id: "coefficients".into(),
        heads: None,
        caption: "Coefficients".into(),
        note: "Keep the digits: four of them cost a tenth of a kelvin.".into(),
        head: "Coefficient".into(),
        columns: vec![Column::words("Value"), Column::words("Standard error")],
        rows,
    }
}

fn residual_chart(result: &ThermistorFitOutput) -> Chart {
    let mut points: Vec<[f64; 2]> = result.points.iter().map(|point| [point.degc, point.residual_k]).collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    Chart {
        id: "residuals".into(),
        finding: format!("The largest residual is {}", say(result.worst_residual_k, Unit::Kelvin)),
        conditions: "Read less measured".into(),
        title: "Residual against temperature".into(),
        x: Axis::linear("temperature", Unit::Celsius),
        y: Axis::linear("residual", Unit::Kelvin),
        marks: points.iter().take(SHOWN).map(|point| Mark { x: point[0], y: point[1], label: String::new() }).collect(),
        curves: vec![Curve { label: "residual".into(), stroke: Stroke::Main, points }],
        table: Table {
            id: "residual-values".into(),
            heads: None,
            caption: "Residuals".into(),
            note: "Read less measured.".into(),
            head: "Temperature".into(),
            columns: vec![
                Column::of("Measured", Unit::Ohm),
                Column::of("Read", Unit::Celsius),
                Column::of("Residual", Unit::Kelvin),
                Column::words("Remark"),
            ],
            rows: result
                .points
                .iter()
                .enumerate()
                .take(SHOWN)
                .map(|(index, point)| Row {
                    head: say(point.degc, Unit::Celsius),
                    note: format!("row {}", index + 1),
                    cells: vec![
                        Cell::Number(point.resistance_ohm),
                        Cell::Number(point.fitted_degc),
                        Cell::Number(point.residual_k),
                        Cell::Words(if point.outlying { "outlying".into() } else { String::new() }),
                    ],
                })
                .collect(),
        },
    }
}

fn curve_chart(sensor: &Sensor, result: &ThermistorFitOutput) -> Chart {
    let (cold, hot) = (result.from_degc, result.to_degc);
    let points: Vec<[f64; 2]> = (0..=48)
        .map(|step| cold + (hot - cold) * f64::from(step) / 48.0)
        .filter_map(|degc| sensor.ohm(degc).map(|ohm| [degc, ohm]))
        .collect();
    Chart {
        id: "fit".into(),
        finding: "Measured points and the fitted curve".into(),
        conditions: format!("From {} to {}", say(cold, Unit::Celsius), say(hot, Unit::Celsius)),
        title: "Resistance against temperature".into(),
        x: Axis::linear("temperature", Unit::Celsius),
        y: Axis::log("resistance", Unit::Ohm),
        marks: result
            .points
            .iter()
            .take(SHOWN)
            .map(|point| Mark { x: point.degc, y: point.resistance_ohm, label: String::new() })
            .collect(),
        table: Table {
            id: "fit-values".into(),
            heads: None,
            caption: "The fitted curve".into(),
            note: String::new(),
            head: "Temperature".into(),
            columns: vec![Column::of("Resistance", Unit::Ohm)],
            rows: points
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point[0], Unit::Celsius),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
        curves: vec![Curve { label: "fit".into(), stroke: Stroke::Main, points }],
    }
}
