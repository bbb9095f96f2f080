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

use super::{CurrentShunt, ShuntInput};
use crate::calculation::{Calculation, Depth, Entry, Meta};
use crate::field::{self, FieldError, Group, defaulted, list, number};
use crate::input;
use crate::judge::Ledger;
use crate::numeric::{LeastSquares, least_squares};
use crate::physics::outlier::{outliers, rounding};
use crate::propagation::coverage_factor;
use crate::quantity::{Quantity, Unit, celsius, kelvin, ohm, one, ppm, ppm_per_kelvin, ppm_per_square_kelvin};
use crate::report::kit::{Columns, Series};
use crate::report::worked::n;
use crate::report::{Axis, Block, Chart, Figure, Finding, Severity, Step, Stroke, Table, View};
use crate::work::{Cost, Refused, Work};

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
    /// Farther from the curve of the others than their scatter explains.
    pub outlying: bool,
}

/// The calculation.
#[derive(Debug)]
pub struct ShuntFit;

impl Calculation for ShuntFit {
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
    /// The result without its address.
    type Solved = FitOutput;
    type Output = FitOutput;

    fn contradictions(input: &FitInput) -> Vec<FieldError> {
        let (wanted, given) = (input.order.coefficients(), input.points.len());
        let mut faults = Vec::new();
        if given < wanted {
            faults.push(FieldError::contradiction(
                "/points",
                format!("{} needs at least {wanted} points; {given} were given.", input.order.label()),
                format!("at least {wanted} points"),
                given,
            ));
        }
        for (index, point) in input.points.iter().enumerate() {
            if let Some(first) = input.points[..index].iter().position(|other| other.degc == point.degc) {
                let (row, degc) = (index + 1, celsius(point.degc));
                faults.push(FieldError::contradiction(
                    &format!("/points/{index}/degc"),
                    format!("Row {row}: {degc} was measured in row {} already; give its mean once.", first + 1),
                    "every temperature once",
                    degc,
                ));
            }
        }
        faults
    }

    fn cost(input: &FitInput, _: Depth, _: Work) -> Cost {
        Cost::SMALL.and(Cost::rows(input.points.len()))
    }

    fn solve(input: &FitInput, _: Work) -> Result<FitOutput, Refused> {
        let fit = fit(input).ok_or_else(|| {
            vec![FieldError::contradiction(
                "/points",
                "These points give no curve with a positive resistance at the reference temperature.",
                "points that lie apart in temperature, near the reference temperature",
                input.points.len(),
            )]
        })?;
        let mut output = output(input, &fit);
        mark_outliers(input, &mut output);
        Ok(output)
    }

    fn requirements(input: &FitInput, solved: &FitOutput, to: &mut Ledger) {
        to.warn("shunt.fit-without-spare-points", "/points", solved.degrees_of_freedom == 0, || {
            "As many points as coefficients: the residuals are zero by construction and say nothing about accuracy. Standard errors are left out.".into()
        });
        to.note("shunt.fit-outliers-untold", "/points", solved.degrees_of_freedom == 1, || {
            "With one spare point nothing tells which point is off: two are needed.".into()
        });
        for (index, point) in solved.points.iter().enumerate().filter(|(_, point)| point.outlying) {
            to.remark(|| {
                let (row, degc, away) = (index + 1, celsius(point.degc), ppm(point.residual_ppm));
                let message = format!(
                    "Row {row}: {degc} lies {away} from the curve, farther than the scatter of the others explains."
                );
                Finding::new(Severity::Warn, "shunt.fit-outlier", message).at(&format!("/points/{index}"))
            });
        }
        let (cold, hot) = range(input);
        let reference = input.reference_degc;
        to.warn("shunt.fit-extrapolates", "/reference_degc", reference < cold - 10.0 || reference > hot + 10.0, || {
            format!("The reference temperature of {} lies more than 10 K outside the points.", celsius(reference))
        });
        let note = |code, message: &str| Finding::new(Severity::Note, code, message);
        let upwards = |b: Fitted| b.value > 0.0 && b.half_width_95.is_some_and(|half| b.value > half);
        if solved.tcr_quadratic_ppm_per_k2.is_some_and(upwards) {
            let message = "The curve bends upwards; manganese-copper alloys bend downwards. Is there copper in the tapped resistance?";
            to.remark(|| note("shunt.fit-curved-up", message));
        }
        if solved.tcr_ppm_per_k.value.abs() > 150.0 {
            let message = "More than 150 ppm/K points at copper in the tapped resistance: one percent of copper adds about 39 ppm/K.";
            to.remark(|| note("shunt.fit-steep", message));
        }
    }

    fn detail(input: &FitInput, solved: FitOutput, _: Work) -> Result<FitOutput, Refused> {
        let mut start: ShuntInput = field::start();
        start.shunt.resistance_ohm = solved.resistance_ohm.value.clamp(1e-6, 1.0);
        start.shunt.tcr_ppm_per_k = solved.tcr_ppm_per_k.value.clamp(-10_000.0, 10_000.0);
        start.shunt.tcr_quadratic_ppm_per_k2 =
            solved.tcr_quadratic_ppm_per_k2.map_or(0.0, |b| b.value).clamp(-100.0, 100.0);
        start.shunt.reference_degc = input.reference_degc;
        Ok(FitOutput { carry_link: Entry::of::<CurrentShunt>().address(&start.write()), ..solved })
    }

    fn working(input: &FitInput, result: &FitOutput) -> Vec<Step> {
        const QR: &str = "least squares by QR; JCGM 100:2008 H.3";
        let (r0, a) = (ohm(result.resistance_ohm.value), ppm_per_kelvin(result.tcr_ppm_per_k.value));
        let b = result.tcr_quadratic_ppm_per_k2.map(|b| ppm_per_square_kelvin(b.value));
        let count = input.points.len() as f64;
        let mean = |of: &dyn Fn(&MeasuredPoint) -> f64| input.points.iter().map(of).sum::<f64>() / count;
        let away = |point: &MeasuredPoint| point.degc - input.reference_degc;
        let [resistance, distance, square] =
            [ohm(mean(&|point| point.resistance_ohm)), kelvin(mean(&away)), one(mean(&|point| away(point).powi(2)))];
        // The residuals of a least-squares fit with a constant add up to nothing.
        let formula = "R_m/(1 + a d_m + b q_m), means of R, of d = T − Tref and of its square over the points";
        let mut steps = vec![
            Step::worked("Resistance at the reference temperature", "R0", formula, r0, QR, |p| {
                let line = n(1) + p.of(a) * p.of(distance);
                p.of(resistance) / if let Some(b) = b { line + p.of(b) * p.of(square) } else { line }
            }),
            Step::worked("Linear coefficient", "a", "c1/c0, c1 of the fit in Ω/K", a, QR, |p| {
                p.of(ohm(a.value * 1e-6 * r0.value)) / p.of(r0)
            }),
        ];
        if let Some(b) = b {
            steps.push(Step::worked("Quadratic coefficient", "b", "c2/c0, c2 of the fit in Ω/K²", b, QR, |p| {
                p.of(ohm(b.value * 1e-6 * r0.value)) / p.of(r0)
            }));
            if let Some(vertex) = result.vertex_degc.map(celsius) {
                let (label, source) = ("Vertex of the parabola", "derivative of the parabola");
                steps.push(Step::worked(label, "Tv", "Tref − a / (2 b)", vertex, source, |p| {
                    p.of(celsius(input.reference_degc)) - p.of(a) / (n(2) * p.of(b))
                }));
            }
        }
        steps
    }

    fn view(input: &FitInput, result: &FitOutput, _: &Ledger) -> View {
        let a = ppm_per_kelvin(result.tcr_ppm_per_k.value);
        let b = result.tcr_quadratic_ppm_per_k2.map(|b| ppm_per_square_kelvin(b.value));
        let worst = result.points.iter().map(|point| point.residual_ppm.abs()).fold(0.0, f64::max);
        View {
            lead: format!("a = {a}{}", b.map_or_else(String::new, |b| format!(", b = {b}"))),
            more: format!("The worst of {} points lies {} from the curve.", result.points.len(), ppm(worst)),
            blocks: vec![
                Block::Figures(figures(result)),
                Block::Chart(chart(input, result)),
                Block::Table(residuals("residuals", result)),
            ],
        }
    }
}

impl Order {
    /// How many coefficients are fitted.
    const fn coefficients(self) -> usize {
        match self {
            Self::Parabola => 3,
            Self::Line => 2,
        }
    }
}

/// Temperatures are divided by this before the fit.
const SCALE_K: f64 = 100.0;

/// The rows of the design matrix, scaled to about one so that its columns are alike, and the resistances.
fn design(input: &FitInput) -> (Vec<Vec<f64>>, Vec<f64>) {
    let row = |point: &MeasuredPoint| {
        let d = (point.degc - input.reference_degc) / SCALE_K;
        [1.0, d, d * d][..input.order.coefficients()].to_vec()
    };
    (input.points.iter().map(row).collect(), input.points.iter().map(|point| point.resistance_ohm).collect())
}

fn mark_outliers(input: &FitInput, output: &mut FitOutput) {
    let (rows, values) = design(input);
    let found = outliers(&rows, &values, &rounding(&values)).unwrap_or_default();
    for (point, outlying) in output.points.iter_mut().zip(found) {
        point.outlying = outlying;
    }
}

/// The curve, when it has a positive resistance.
fn fit(input: &FitInput) -> Option<LeastSquares> {
    let (rows, values) = design(input);
    least_squares(&rows, &values).filter(|fit| fit.coefficients[0] > 0.0)
}

/// Everything but the address.
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
                outlying: false,
            })
            .collect(),
        carry_link: String::new(),
    }
}

fn range(input: &FitInput) -> (f64, f64) {
    input.points.iter().fold((f64::MAX, f64::MIN), |(low, high), point| (low.min(point.degc), high.max(point.degc)))
}

fn figures(result: &FitOutput) -> Vec<Figure> {
    let fitted = |label: &str, fitted: Fitted, unit: Unit| {
        let value = Quantity::new(fitted.value, unit);
        let half = fitted.half_width_95.map(|half| format!(" ± {}", Quantity::new(half, unit).brief(2)));
        Figure::of(label, value, format!("{value}{}, 95 %", half.unwrap_or_default()))
    };
    let mut figures = vec![
        fitted("Resistance", result.resistance_ohm, Unit::Ohm),
        fitted("Temperature coefficient", result.tcr_ppm_per_k, Unit::PpmPerKelvin),
    ];
    figures
        .extend(result.tcr_quadratic_ppm_per_k2.map(|b| fitted("Quadratic coefficient", b, Unit::PpmPerSquareKelvin)));
    figures.extend(result.deviation_ppm.map(|s| Figure::of("Scatter about the curve", ppm(s), "standard deviation")));
    let note = "over the measured range: a bound, not a slope";
    figures.push(Figure::of("Box coefficient", ppm_per_kelvin(result.box_ppm_per_k), note));
    figures
}

fn chart(input: &FitInput, result: &FitOutput) -> Chart {
    let (cold, hot) = range(input);
    let r0 = result.resistance_ohm.value;
    let quadratic = result.tcr_quadratic_ppm_per_k2.map_or(0.0, |b| b.value);
    let degcs: Vec<f64> = (0..=48).map(|step| cold + (hot - cold) * f64::from(step) / 48.0).collect();
    let (x, y) = (Axis::linear("temperature", Unit::Celsius), Axis::linear("change", Unit::Ppm));
    let mut curve = Series::new("fit", "Change of the resistance against temperature", &degcs, x, |degc| *degc, y);
    curve.curve("fit", Stroke::Main, |degc| {
        let d = degc - input.reference_degc;
        Some(result.tcr_ppm_per_k.value * d + quadratic * d * d)
    });
    for point in result.points.iter().take(200) {
        curve.mark(point.degc, (point.resistance_ohm / r0 - 1.0) * 1e6, "");
    }
    let finding = result.vertex_degc.filter(|vertex| cold <= *vertex && *vertex <= hot).map_or_else(
        || "Measured points and the fitted curve".into(),
        |vertex| format!("The curve turns at {}", celsius(vertex)),
    );
    let conditions = format!("Change against {} at {}", ohm(r0), celsius(input.reference_degc));
    Chart { table: residuals("fit-values", result), ..curve.chart(finding, conditions) }
}

fn residuals(id: &str, result: &FitOutput) -> Table {
    let head = |_, point: &FittedPoint| celsius(point.degc).to_string();
    let mut table = Columns::new(id, "Residuals", "Temperature", &result.points, head)
        .note("Measured less curve.")
        .column("Measured", Unit::Ohm, |point| point.resistance_ohm)
        .column("Curve", Unit::Ohm, |point| point.fitted_ohm)
        .column("Residual", Unit::Ppm, |point| point.residual_ppm)
        .words("Remark", |point| if point.outlying { "outlying" } else { "" })
        .table();
    for (index, row) in table.rows.iter_mut().enumerate() {
        row.note = format!("row {}", index + 1);
    }
    table
}
