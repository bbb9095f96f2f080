//! # Resistance-temperature curve from measured points
//!
//! Measured pairs of temperature and resistance give the coefficients that the mounted part really has, copper in the
//! joints included. Three points fix a parabola exactly and say nothing about its accuracy; more points say how well
//! it fits. A curve is not extended far beyond its points.
//!
//! ```text
//! Formula    R = c0 + c1 d + c2 d², d = T − Tref;  R0 = c0, a = c1/c0, b = c2/c0; box = (Rmax − Rmin)/(R0 ΔT)
//! Symbols    residual r_i = (R_i − R(T_i))/R0 [ppm], standard errors from the covariance of c, 95 % by Student's t
//! Valid      one thermal state per point; temperatures of the element, not of the bath's display
//! Refused    fewer points than coefficients, the same temperature twice
//! Source     least squares by QR; JCGM 100:2008 H.3 (the line and its covariance)
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::ShuntInput;
use crate::calculation::{Meta, Room};
use crate::field::{self, FieldError, Group, defaulted, list, number};
use crate::input;
use crate::legacy::Whole;
use crate::numeric::{LeastSquares, least_squares};
use crate::propagation::coverage_factor;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, Finding, Mark, Report, Row, Severity, Step, Stroke, Table, View,
};

crate::choice! {
    /// The model that is fitted.
    pub enum Order {
        Parabola = "parabola", "Parabola: a and b";
        Line = "line", "Straight line: a only";
    }
}

input! {
    /// One measured point.
    pub struct MeasuredPoint {
        degc: f64 = number(Unit::Celsius, -200.0, 500.0, 25.0), "T", "Temperature", "Of the element.";
        resistance_ohm: f64 = number(Unit::Ohm, 1e-9, 1e6, 1.0), "R", "Resistance", "Measured at that temperature.";
    }
}

input! {
    /// Everything the fit takes.
    pub struct FitInput {
        points: Vec<MeasuredPoint> = list::<MeasuredPoint>(2, 2000, "-40 34.8803u\n-10 34.9547u\n25 35.0046u\n60 35.0171u\n95 34.9901u\n125 34.9365u\n150 34.8709u"), "", "Measured points", "One point a line: temperature, resistance.";
        order: Order = Order::Parabola.chosen(), "", "Model", "A parabola needs three points, a line two.";
        reference_degc: f64 = defaulted(Unit::Celsius, -55.0, 150.0, 20.0), "Tref", "Reference temperature", "Where R0 and a are stated.";
    }
}

/// What the fit answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FitOutput {
    /// Resistance at the reference temperature.
    pub resistance_ohm: Fitted,
    /// Linear coefficient there, ppm/K.
    pub tcr_ppm_per_k: Fitted,
    /// Quadratic coefficient, ppm/K².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tcr_quadratic_ppm_per_k2: Option<Fitted>,
    /// Correlation of R0 and the slope.
    pub correlation: f64,
    /// Standard deviation of the points about the curve, ppm; absent without spare points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviation_ppm: Option<f64>,
    /// Degrees of freedom.
    pub degrees_of_freedom: u32,
    /// Temperature at which the parabola turns, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub vertex_degc: Option<f64>,
    /// Box coefficient over the measured range, ppm/K: a bound, not a slope.
    pub box_ppm_per_k: f64,
    /// Every point with its residual, in the order given.
    pub points: Vec<FittedPoint>,
    /// The address of the shunt page with these values.
    pub carry_link: String,
}

/// A fitted value with its uncertainty.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Fitted {
    /// The value.
    pub value: f64,
    /// Its standard error; absent without spare points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_error: Option<f64>,
    /// Half-width of its 95 % interval; absent without spare points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub half_width_95: Option<f64>,
}

/// A measured point beside the curve.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct FittedPoint {
    /// Temperature, °C.
    pub degc: f64,
    /// Measured, Ω.
    pub resistance_ohm: f64,
    /// Curve, Ω.
    pub fitted_ohm: f64,
    /// Measured less curve, ppm of R0.
    pub residual_ppm: f64,
    /// More than three standard deviations away.
    pub outlying: bool,
}

/// The calculation.
#[derive(Debug)]
pub struct ShuntFit;

impl Whole for ShuntFit {
    const META: Meta = Meta {
        slug: "shunt/fit",
        title: "Shunt curve from measured points",
        job: "The coefficients that the mounted part really has, with their uncertainty and the points that do not fit.",
        short: "coefficients from measured points",
        sources: &[
            "JCGM 100:2008 H.3 (least squares and covariance)",
            "Golub and Van Loan, Matrix Computations, section 5.3 (QR)",
        ],
    };
    type Input = FitInput;
    type Output = FitOutput;

    fn calculate(input: &FitInput) -> Result<Report<FitOutput>, Vec<FieldError>> {
        let fit = fit(input)?;
        let result = output(input, &fit);
        let findings = findings(input, &result);
        Ok(Report { working: working(input.reference_degc, &result), view: view(input, &result), result, findings })
    }
}

fn fit(input: &FitInput) -> Result<LeastSquares, Vec<FieldError>> {
    let wanted = if input.order == Order::Parabola { 3 } else { 2 };
    let mut faults = Vec::new();
    if input.points.len() < wanted {
        faults.push(FieldError::contradiction(
            "/points",
            format!("{} needs at least {wanted} points; {} were given.", input.order.label(), input.points.len()),
            format!("at least {wanted} points"),
            input.points.len(),
        ));
    }
    for (index, point) in input.points.iter().enumerate() {
        if let Some(first) = input.points[..index].iter().position(|other| other.degc == point.degc) {
            faults.push(FieldError::contradiction(
                &format!("/points/{index}/degc"),
                format!(
                    "Row {}: {} was measured in row {} already; give its mean once.",
                    index + 1,
                    say(point.degc, Unit::Celsius),
                    first + 1
                ),
                "every temperature once",
                say(point.degc, Unit::Celsius),
            ));
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    // Scaled to about one, so that the columns of the design matrix are alike.
    let rows: Vec<Vec<f64>> = input
        .points
        .iter()
        .map(|point| {
            let d = (point.degc - input.reference_degc) / SCALE_K;
            if wanted == 3 { vec![1.0, d, d * d] } else { vec![1.0, d] }
        })
        .collect();
    let values: Vec<f64> = input.points.iter().map(|point| point.resistance_ohm).collect();
    least_squares(&rows, &values).filter(|fit| fit.coefficients[0] > 0.0).ok_or_else(|| {
        vec![FieldError::contradiction(
            "/points",
            "These points give no curve with a positive resistance at the reference temperature.",
            "points that lie apart in temperature, near the reference temperature",
            input.points.len(),
        )]
    })
}

/// Temperatures are divided by this before the fit.
const SCALE_K: f64 = 100.0;

fn output(input: &FitInput, fit: &LeastSquares) -> FitOutput {
    let c = &fit.coefficients;
    let p = c.len();
    let spare = u32::try_from(input.points.len() - p).unwrap_or(u32::MAX);
    let student = coverage_factor(0.95, Some(f64::from(spare)));
    // u² = gᵀ cov g for a value with the gradient g; r0 = c0, a = c1/(c0 s), b = c2/(c0 s²).
    let fitted = |value: f64, gradient: Vec<f64>| {
        let variance: f64 = (0..p)
            .flat_map(|i| (0..p).map(move |j| (i, j)))
            .map(|(i, j)| gradient[i] * gradient[j] * fit.unit_covariance[i][j])
            .sum();
        let standard_error = fit.deviation.map(|s| s * variance.max(0.0).sqrt());
        Fitted { value, standard_error, half_width_95: standard_error.map(|u| u * student) }
    };
    let at = |index: usize, value: f64| {
        let mut gradient = vec![0.0; p];
        gradient[index] = value;
        gradient
    };
    let coefficient = |power: usize| {
        let scale = 1e6 / SCALE_K.powi(i32::try_from(power).unwrap_or(0));
        let mut gradient = at(power, scale / c[0]);
        gradient[0] = -c[power] / (c[0] * c[0]) * scale;
        fitted(c[power] / c[0] * scale, gradient)
    };
    let resistance_ohm = fitted(c[0], at(0, 1.0));
    let tcr_ppm_per_k = coefficient(1);
    let quadratic = (p == 3).then(|| coefficient(2));
    let (low, high) = input.points.iter().fold((f64::MAX, f64::MIN), |(low, high), point| {
        (low.min(point.resistance_ohm), high.max(point.resistance_ohm))
    });
    let (cold, hot) = range(input);
    let mut start: ShuntInput = field::start();
    start.shunt.resistance_ohm = c[0].clamp(1e-6, 1.0);
    start.shunt.tcr_ppm_per_k = tcr_ppm_per_k.value.clamp(-10_000.0, 10_000.0);
    start.shunt.tcr_quadratic_ppm_per_k2 = quadratic.map_or(0.0, |b| b.value).clamp(-100.0, 100.0);
    start.shunt.reference_degc = input.reference_degc;
    FitOutput {
        vertex_degc: quadratic
            .filter(|b| b.value != 0.0)
            .map(|b| input.reference_degc - tcr_ppm_per_k.value / (2.0 * b.value))
            .filter(|t| t.is_finite()),
        resistance_ohm,
        tcr_ppm_per_k,
        tcr_quadratic_ppm_per_k2: quadratic,
        correlation: fit.unit_covariance[0][1] / (fit.unit_covariance[0][0] * fit.unit_covariance[1][1]).sqrt(),
        deviation_ppm: fit.deviation.map(|s| s / c[0] * 1e6),
        degrees_of_freedom: spare,
        box_ppm_per_k: (high - low) / (c[0] * (hot - cold)) * 1e6,
        points: input
            .points
            .iter()
            .zip(&fit.residuals)
            .map(|(point, residual)| FittedPoint {
                degc: point.degc,
                resistance_ohm: point.resistance_ohm,
                fitted_ohm: point.resistance_ohm - residual,
                residual_ppm: residual / c[0] * 1e6,
                outlying: fit.deviation.is_some_and(|s| residual.abs() > 3.0 * s),
            })
            .collect(),
        carry_link: Room::whole::<super::ShuntRoom>().address(&start.write()),
    }
}

fn range(input: &FitInput) -> (f64, f64) {
    input.points.iter().fold((f64::MAX, f64::MIN), |(low, high), point| (low.min(point.degc), high.max(point.degc)))
}

fn findings(input: &FitInput, result: &FitOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if result.degrees_of_freedom == 0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.fit-without-spare-points",
                "As many points as coefficients: the residuals are zero by construction and say nothing about accuracy. Standard errors are left out.",
            )
            .at("/points"),
        );
    }
    for (index, point) in result.points.iter().enumerate().filter(|(_, point)| point.outlying) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.fit-outlier",
                format!(
                    "Row {}: {} lies {} from the curve, more than three standard deviations.",
                    index + 1,
                    say(point.degc, Unit::Celsius),
                    say(point.residual_ppm, Unit::Ppm)
                ),
            )
            .at(&format!("/points/{index}")),
        );
    }
    let (cold, hot) = range(input);
    if input.reference_degc < cold - 10.0 || input.reference_degc > hot + 10.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.fit-extrapolates",
                format!(
                    "The reference temperature of {} lies more than 10 K outside the points.",
                    say(input.reference_degc, Unit::Celsius)
                ),
            )
            .at("/reference_degc"),
        );
    }
    if result
        .tcr_quadratic_ppm_per_k2
        .is_some_and(|b| b.value > 0.0 && b.half_width_95.is_some_and(|half| b.value > half))
    {
        findings.push(Finding::new(
            Severity::Note,
            "shunt.fit-curved-up",
            "The curve bends upwards; manganese-copper alloys bend downwards. Is there copper in the tapped resistance?",
        ));
    }
    if result.tcr_ppm_per_k.value.abs() > 150.0 {
        findings.push(Finding::new(
            Severity::Note,
            "shunt.fit-steep",
            "More than 150 ppm/K points at copper in the tapped resistance: one percent of copper adds about 39 ppm/K.",
        ));
    }
    findings
}

fn working(reference_degc: f64, result: &FitOutput) -> Vec<Step> {
    let source = "least squares by QR; JCGM 100:2008 H.3";
    let q = Quantity::new;
    let mut steps = vec![
        Step::new(
            "Resistance at the reference temperature",
            "R0",
            "c0",
            format!("{} points", result.points.len()),
            q(result.resistance_ohm.value, Unit::Ohm),
            source,
        ),
        Step::new(
            "Linear coefficient",
            "a",
            "c1 / c0",
            format!("over {}", say(result.resistance_ohm.value, Unit::Ohm)),
            q(result.tcr_ppm_per_k.value, Unit::PpmPerKelvin),
            source,
        ),
    ];
    if let Some(b) = result.tcr_quadratic_ppm_per_k2 {
        steps.push(Step::new(
            "Quadratic coefficient",
            "b",
            "c2 / c0",
            format!("over {}", say(result.resistance_ohm.value, Unit::Ohm)),
            q(b.value, Unit::PpmPerSquareKelvin),
            source,
        ));
    }
    if let (Some(vertex), Some(b)) = (result.vertex_degc, result.tcr_quadratic_ppm_per_k2) {
        steps.push(Step::new(
            "Vertex of the parabola",
            "Tv",
            "Tref − a / (2 b)",
            format!(
                "{} − {} / (2 · ({}))",
                say(reference_degc, Unit::Celsius),
                say(result.tcr_ppm_per_k.value, Unit::PpmPerKelvin),
                say(b.value, Unit::PpmPerSquareKelvin)
            ),
            q(vertex, Unit::Celsius),
            "derivative of the parabola",
        ));
    }
    steps
}

fn view(input: &FitInput, result: &FitOutput) -> View {
    let with = |fitted: &Fitted, unit: Unit| {
        let half =
            fitted.half_width_95.map_or_else(String::new, |half| format!(" ± {}", Quantity::new(half, unit).brief(2)));
        format!("{}{half}", say(fitted.value, unit))
    };
    let mut figures = vec![
        Figure::new(
            "Resistance",
            result.resistance_ohm.value,
            Unit::Ohm,
            with(&result.resistance_ohm, Unit::Ohm) + ", 95 %",
        ),
        Figure::new(
            "Temperature coefficient",
            result.tcr_ppm_per_k.value,
            Unit::PpmPerKelvin,
            with(&result.tcr_ppm_per_k, Unit::PpmPerKelvin) + ", 95 %",
        ),
    ];
    if let Some(b) = &result.tcr_quadratic_ppm_per_k2 {
        figures.push(Figure::new(
            "Quadratic coefficient",
            b.value,
            Unit::PpmPerSquareKelvin,
            with(b, Unit::PpmPerSquareKelvin) + ", 95 %",
        ));
    }
    if let Some(s) = result.deviation_ppm {
        figures.push(Figure::new("Scatter about the curve", s, Unit::Ppm, "standard deviation"));
    }
    figures.push(Figure::new(
        "Box coefficient",
        result.box_ppm_per_k,
        Unit::PpmPerKelvin,
        "over the measured range: a bound, not a slope",
    ));
    let worst = result.points.iter().map(|point| point.residual_ppm.abs()).fold(0.0, f64::max);
    let (cold, hot) = range(input);
    let r0 = result.resistance_ohm.value;
    let at = |degc: f64| {
        let d = degc - input.reference_degc;
        result.tcr_ppm_per_k.value * d + result.tcr_quadratic_ppm_per_k2.map_or(0.0, |b| b.value) * d * d
    };
    View {
        lead: format!(
            "a = {}{}",
            say(result.tcr_ppm_per_k.value, Unit::PpmPerKelvin),
            result
                .tcr_quadratic_ppm_per_k2
                .map_or_else(String::new, |b| format!(", b = {}", say(b.value, Unit::PpmPerSquareKelvin)))
        ),
        more: format!("The worst of {} points lies {} from the curve.", result.points.len(), say(worst, Unit::Ppm)),
        checks: Vec::new(),
        blocks: vec![
            Block::Figures(figures),
            Block::Chart(Chart {
                id: "fit".into(),
                finding: result.vertex_degc.filter(|vertex| cold <= *vertex && *vertex <= hot).map_or_else(
                    || "Measured points and the fitted curve".into(),
                    |vertex| format!("The curve turns at {}", say(vertex, Unit::Celsius)),
                ),
                conditions: format!(
                    "Change against {} at {}",
                    say(r0, Unit::Ohm),
                    say(input.reference_degc, Unit::Celsius)
                ),
                title: "Change of the resistance against temperature".into(),
                x: Axis::linear("temperature", Unit::Celsius),
                y: Axis::linear("change", Unit::Ppm),
                curves: vec![Curve {
                    label: "fit".into(),
                    stroke: Stroke::Main,
                    points: (0..=48)
                        .map(|step| cold + (hot - cold) * f64::from(step) / 48.0)
                        .map(|degc| [degc, at(degc)])
                        .collect(),
                }],
                marks: result
                    .points
                    .iter()
                    .take(200)
                    .map(|point| Mark {
                        x: point.degc,
                        y: (point.resistance_ohm / r0 - 1.0) * 1e6,
                        label: String::new(),
                    })
                    .collect(),
                table: residuals("fit-values", result),
            }),
            Block::Table(residuals("residuals", result)),
        ],
        care: Vec::new(),
    }
}

fn residuals(id: &str, result: &FitOutput) -> Table {
    Table {
        id: id.into(),
        caption: "Residuals".into(),
        note: "Measured less curve.".into(),
        head: "Temperature".into(),
        columns: vec![
            Column::of("Measured", Unit::Ohm),
            Column::of("Curve", Unit::Ohm),
            Column::of("Residual", Unit::Ppm),
            Column::words("Remark"),
        ],
        rows: result
            .points
            .iter()
            .enumerate()
            .map(|(index, point)| Row {
                head: say(point.degc, Unit::Celsius),
                note: format!("row {}", index + 1),
                cells: vec![
                    Cell::Number(point.resistance_ohm),
                    Cell::Number(point.fitted_ohm),
                    Cell::Number(point.residual_ppm),
                    Cell::Words(if point.outlying { "outlying".into() } else { String::new() }),
                ],
            })
            .collect(),
    }
}
