//! The fit's numbers for a reader.

use super::{FittedCoefficient, FittedTemperature, ThermistorFitOutput};
use crate::calc::temperature::thermistor::curve::Curve as Sensor;
use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Mark, Row, Step, Stroke, Table, View};

/// Most points that are marked in a chart and listed in a table.
const SHOWN: usize = 200;

pub(super) fn working(result: &ThermistorFitOutput) -> Vec<Step> {
    let q = Quantity::new;
    let points = result.points.len();
    let source = if result.degrees_of_freedom == 0 {
        "exact through the points"
    } else {
        "least squares by QR; JCGM 100:2008 H.3"
    };
    let mut steps = Vec::new();
    if let Some(found) = &result.beta {
        steps.push(Step::new(
            "Beta, in kelvin",
            "B",
            if result.degrees_of_freedom == 0 {
                "1/b, b = (Y2 − Y1)/(L2 − L1), L = ln(R/Ω), Y = 1/T"
            } else {
                "1/b, min Σ (T² (Y − a − b L))², L = ln(R/Ω), Y = 1/T"
            },
            inserted(result),
            q(found.beta_k.value, Unit::One),
            source,
        ));
        steps.push(Step::new(
            "Resistance at 25 °C",
            "R25",
            "exp((1/298.15 K − a)/b)",
            inserted(result),
            q(found.r25_ohm.value, Unit::Ohm),
            source,
        ));
    }
    if let Some(found) = &result.steinhart_hart {
        let three = result.degrees_of_freedom == 0;
        let count = if three {
            inserted(result)
        } else {
            format!("the {points} points (L, Y) in Y = A + B L + C L³ by min Σ (T² (Y − A − B L − C L³))²")
        };
        for (symbol, formula, value) in [
            (
                "C",
                if three {
                    "(g3 − g2)/((L3 − L2)(L1 + L2 + L3))"
                } else {
                    "q2/s², q2 the third coefficient over L − m"
                },
                found.c.value,
            ),
            (
                "B",
                if three {
                    "g2 − C (L1² + L1 L2 + L2²)"
                } else {
                    "q1/s − 3 m² C, m the mean of L, s its largest deviation"
                },
                found.b.value,
            ),
            ("A", if three { "Y1 − (B + C L1²) L1" } else { "q0 − B m − C m³, L = ln(R/Ω), Y = 1/T" }, found.a.value),
        ] {
            steps.push(Step::new(
                &format!("Coefficient {symbol}"),
                symbol,
                formula,
                format!("{count}: {symbol} = {} per kelvin", coefficient(value, 9)),
                q(value, Unit::One),
                source,
            ));
        }
    }
    steps.push(Step::new(
        "Beta between the ends, in kelvin",
        "B_ends",
        "ln(R1/R2)/(1/T1 − 1/T2)",
        ends(result),
        q(result.beta_of_ends_k, Unit::One),
        "IEC 60539-1 (from memory)",
    ));
    if let Some(s) = result.deviation_k {
        steps.push(Step::new(
            "Scatter about the curve",
            "s",
            "√(Σ r²/(N − p))",
            format!("{} degrees of freedom", result.degrees_of_freedom),
            q(s, Unit::Kelvin),
            "JCGM 100:2008 H.3",
        ));
    }
    steps
}

/// ln(R1/R2)/(1/T1 − 1/T2) with the coldest and the hottest point put in.
fn ends(result: &ThermistorFitOutput) -> String {
    let ohm = |degc: f64| {
        let found = result.points.iter().find(|point| point.degc == degc);
        found.map_or_else(String::new, |point| Quantity::new(point.resistance_ohm, Unit::Ohm).brief(6).to_string())
    };
    let kelvin = |degc: f64| Quantity::new(degc + ZERO_CELSIUS_K, Unit::One).brief(6);
    let (cold, hot) = (result.from_degc, result.to_degc);
    format!("ln({} / {}) / (1/{} K − 1/{} K)", ohm(cold), ohm(hot), kelvin(cold), kelvin(hot))
}

/// The points that are put in: their logarithms and inverse temperatures where they are few, their number otherwise.
fn inserted(result: &ThermistorFitOutput) -> String {
    if result.degrees_of_freedom == 0 {
        few_points(result)
    } else {
        format!("the {} points (L, Y) in Y = a + b L", result.points.len())
    }
}

/// A coefficient in the one form of this page, with a power of ten and the true minus sign.
fn coefficient(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$e}").replace('-', "−")
}

/// Logarithms and inverse temperatures of two or three points.
fn few_points(result: &ThermistorFitOutput) -> String {
    let listed = |value: fn(&FittedTemperature) -> f64| {
        let all: Vec<String> =
            result.points.iter().map(|point| Quantity::new(value(point), Unit::One).brief(8).to_string()).collect();
        all.join("; ")
    };
    format!(
        "L = {}; Y = {} per kelvin",
        listed(|point| libm::log(point.resistance_ohm)),
        listed(|point| 1.0 / (point.degc + ZERO_CELSIUS_K))
    )
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
