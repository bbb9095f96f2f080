//! # Thermistor curve from measured points
//!
//! Two points give a beta, three the Steinhart-Hart coefficients exactly; more points say how well the equation fits.
//! Zero residuals of as many points as coefficients are no accuracy. A curve does not hold outside its points.
//!
//! ```text
//! Formula    Y = 1/T = a + b L (beta: B = 1/b, R25 = exp((1/298.15 K − a)/b)) or A + B L + C L³, L = ln(R/Ω);
//!            three points: see steinhart; more: min Σ (T_i² (Y_i − Y(L_i)))², so that kelvins count and not 1/K
//! Basis      1, d, 3 m d² + d³ with d = L − m, m the mean of L: it spans 1, L, L³ and its columns are unlike
//! Residual   T(R_i) − T_i, read less measured; s² = Σ r²/(N − p); which points are outlying: see physics/outlier
//! Symbols    L [1], Y [1/K], residuals [K], standard errors from the covariance of the weighted fit
//! Refused    fewer points than coefficients, one temperature twice, a resistance that does not fall
//! Source     Steinhart and Hart 1968; least squares by QR; JCGM 100:2008 H.3; 20 K between points: common practice
//! ```

mod view;

use serde::Serialize;
use utoipa::ToSchema;

use super::curve::{Curve, T25_K};
use super::input::{CurveKind, TableRow, ThermistorInput};
use super::point_faults;
use super::steinhart::SteinhartHart;
use crate::calculation::{Calculation, Depth, Entry, Meta};
use crate::constant::ZERO_CELSIUS_K;
use crate::field::{self, FieldError, Group, list};
use crate::input;
use crate::judge::Ledger;
use crate::numeric::least_squares;
use crate::physics::outlier::{outliers, rounding};
use crate::propagation::coverage_factor;
use crate::quantity::{celsius, kelvin};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

crate::choice! {
    /// The equation that is fitted.
    pub enum Equation {
        SteinhartHart = "steinhart-hart", "Steinhart-Hart: A, B and C";
        Beta = "beta", "Beta and R25";
    }
}

input! {
    /// Everything the fit takes.
    pub struct ThermistorFitInput {
        points: Vec<TableRow> = list::<TableRow>(2, 2000, "-40 239.8k\n-20 76.676k\n0 28.677k\n25 10k\n50 4.0751k\n85 1.4206k\n125 531"), "", "Measured points", "One point a line: temperature, resistance.";
        equation: Equation = Equation::SteinhartHart.chosen(), "", "Equation", "Steinhart-Hart needs three points, beta two.";
    }
}

/// What the fit answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThermistorFitOutput {
    /// R25 and beta, when beta is fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beta: Option<FittedBeta>,
    /// A, B and C, when Steinhart-Hart is fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steinhart_hart: Option<FittedSteinhartHart>,
    /// Standard deviation of the points about the curve, K; absent without spare points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviation_k: Option<f64>,
    /// Degrees of freedom.
    pub degrees_of_freedom: u32,
    /// Largest residual without its sign, K.
    pub worst_residual_k: f64,
    /// The line it stands on.
    pub worst_line: u32,
    /// Beta between the coldest and the hottest point, K.
    pub beta_of_ends_k: f64,
    /// The curve holds from here, °C.
    pub from_degc: f64,
    /// To here, °C.
    pub to_degc: f64,
    /// Every point with its residual, in the order given.
    pub points: Vec<FittedTemperature>,
    /// The address of the temperature channel with this curve and this range.
    pub carry_link: String,
}

/// R25 and beta.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct FittedBeta {
    /// Resistance at 25 °C, Ω.
    pub r25_ohm: FittedCoefficient,
    /// Beta, K.
    pub beta_k: FittedCoefficient,
}

/// The three coefficients, 1/K.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct FittedSteinhartHart {
    /// A.
    pub a: FittedCoefficient,
    /// B.
    pub b: FittedCoefficient,
    /// C.
    pub c: FittedCoefficient,
}

/// A coefficient with its uncertainty.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct FittedCoefficient {
    /// The value, with every digit: rounding to four costs a tenth of a kelvin.
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
pub struct FittedTemperature {
    /// Temperature, °C.
    pub degc: f64,
    /// Measured, Ω.
    pub resistance_ohm: f64,
    /// What the curve reads for that resistance, °C.
    pub fitted_degc: f64,
    /// Read less measured, K.
    pub residual_k: f64,
    /// Farther from the curve of the others than their scatter explains.
    pub outlying: bool,
}

/// The calculation.
#[derive(Debug)]
pub struct ThermistorFit;

impl Calculation for ThermistorFit {
    const META: Meta = Meta {
        slug: "thermistor/fit",
        title: "Thermistor curve from measured points",
        job: "Beta or Steinhart-Hart coefficients of measured points, residuals in kelvin, the points that do not fit.",
        short: "coefficients from measured points",
        sources: &[
            "Steinhart and Hart, Deep-Sea Research 15 (1968) 497",
            "JCGM 100:2008 H.3 (least squares and covariance)",
            "Golub and Van Loan, Matrix Computations, section 5.3 (QR)",
        ],
    };
    type Input = ThermistorFitInput;
    /// The answer without its link.
    type Solved = ThermistorFitOutput;
    type Output = ThermistorFitOutput;

    fn contradictions(input: &ThermistorFitInput) -> Vec<FieldError> {
        let least = if input.equation == Equation::Beta { 2 } else { 3 };
        point_faults(&pairs(input), "/points", least)
    }

    fn cost(input: &ThermistorFitInput, _: Depth, _: Work) -> Cost {
        Cost::SMALL.and(Cost::rows(input.points.len()))
    }

    fn solve(input: &ThermistorFitInput, _: Work) -> Result<ThermistorFitOutput, Refused> {
        let pairs = pairs(input);
        let fitted = fit(&pairs, input.equation).ok_or_else(|| {
            vec![FieldError::contradiction(
                "/points",
                "These points give no curve on which the temperature falls with the resistance.",
                "points that lie apart in temperature",
                pairs.len(),
            )]
        })?;
        Ok(output(&pairs, &fitted))
    }

    fn requirements(input: &ThermistorFitInput, solved: &ThermistorFitOutput, to: &mut Ledger) {
        remarks(&pairs(input), solved, to);
    }

    fn detail(
        _: &ThermistorFitInput,
        mut solved: ThermistorFitOutput,
        _: Work,
    ) -> Result<ThermistorFitOutput, Refused> {
        solved.carry_link = carry_link(&solved);
        Ok(solved)
    }

    fn working(_: &ThermistorFitInput, result: &ThermistorFitOutput) -> Vec<Step> {
        view::working(result)
    }

    fn view(_: &ThermistorFitInput, result: &ThermistorFitOutput, _: &Ledger) -> View {
        view::view(&result.curve(), result)
    }
}

fn pairs(input: &ThermistorFitInput) -> Vec<[f64; 2]> {
    input.points.iter().map(|row| [row.degc, row.resistance_ohm]).collect()
}

impl ThermistorFitOutput {
    /// The curve of the coefficients.
    fn curve(&self) -> Curve {
        match (&self.steinhart_hart, &self.beta) {
            (Some(found), _) => {
                Curve::SteinhartHart(SteinhartHart { a: found.a.value, b: found.b.value, c: found.c.value })
            }
            (None, Some(found)) => Curve::Beta { r25_ohm: found.r25_ohm.value, beta_k: found.beta_k.value },
            // One of the two is always there.
            (None, None) => Curve::Beta { r25_ohm: 1.0, beta_k: 1.0 },
        }
    }
}

/// A fitted curve with the covariance of its coefficients.
struct Fit {
    curve: Curve,
    /// A, B, C or ln R25 and B.
    values: Vec<f64>,
    /// Standard error of each for a unit deviation of the points.
    unit_errors: Vec<f64>,
    residuals_k: Vec<f64>,
    deviation_k: Option<f64>,
    outlying: Vec<bool>,
    spare: usize,
}

/// The gradient of each coefficient of the equation by the coefficients of the basis, and the equation itself.
struct Basis {
    mean: f64,
    half: f64,
}

impl Basis {
    fn row(&self, log: f64, terms: usize) -> Vec<f64> {
        let d = log - self.mean;
        let third = (3.0 * self.mean + d) * d * d / (self.half * self.half);
        [1.0, d / self.half, third][..terms].to_vec()
    }

    /// A, B, C from the coefficients of the basis: C = q2/s², B = q1/s − 3 m² C, A = q0 − B m − C m³.
    fn gradients(&self, terms: usize) -> Vec<Vec<f64>> {
        let (m, s) = (self.mean, self.half);
        let square = s * s;
        let a = [1.0, -m / s, 2.0 * m * m * m / square];
        let b = [0.0, 1.0 / s, -3.0 * m * m / square];
        let c = [0.0, 0.0, 1.0 / square];
        [a, b, c][..terms].iter().map(|row| row[..terms].to_vec()).collect()
    }
}

fn fit(pairs: &[[f64; 2]], equation: Equation) -> Option<Fit> {
    let terms = if equation == Equation::Beta { 2 } else { 3 };
    let logs: Vec<f64> = pairs.iter().map(|pair| libm::log(pair[1])).collect();
    let kelvins: Vec<f64> = pairs.iter().map(|pair| pair[0] + ZERO_CELSIUS_K).collect();
    let mean = logs.iter().sum::<f64>() / logs.len() as f64;
    let half = logs.iter().map(|log| (log - mean).abs()).fold(0.0, f64::max);
    let basis = Basis { mean, half };
    let middle = kelvins.iter().map(|kelvin| 1.0 / kelvin).sum::<f64>() / kelvins.len() as f64;
    let weighted = |value: f64, kelvin: f64| value * kelvin * kelvin;
    let rows: Vec<Vec<f64>> = logs
        .iter()
        .zip(&kelvins)
        .map(|(log, kelvin)| basis.row(*log, terms).into_iter().map(|term| weighted(term, *kelvin)).collect())
        .collect();
    let values_k: Vec<f64> = kelvins.iter().map(|kelvin| weighted(1.0 / kelvin - middle, *kelvin)).collect();
    let solved = least_squares(&rows, &values_k)?;
    let gradients = basis.gradients(terms);
    let mut found: Vec<f64> =
        gradients.iter().map(|gradient| gradient.iter().zip(&solved.coefficients).map(|(g, q)| g * q).sum()).collect();
    found[0] += middle;
    if let ([first, second, third], [t1, t2, t3], 3) = (&logs[..], &kelvins[..], terms) {
        let exact = SteinhartHart::through([[*first, 1.0 / t1], [*second, 1.0 / t2], [*third, 1.0 / t3]])?;
        found = vec![exact.a, exact.b, exact.c];
    }
    let variance = |gradient: &[f64]| -> f64 {
        let rows = gradient.iter().zip(&solved.unit_covariance);
        rows.map(|(g, row)| g * gradient.iter().zip(row).map(|(h, v)| h * v).sum::<f64>()).sum()
    };
    let (curve, values, gradients) = if equation == Equation::Beta {
        // ln R25 = (1/T25 − a)/b and B = 1/b.
        let (a, b) = (found[0], found[1]);
        let log25 = (1.0 / T25_K - a) / b;
        let by = |da: f64, db: f64| -> Vec<f64> {
            gradients[0].iter().zip(&gradients[1]).map(|(ga, gb)| da * ga + db * gb).collect()
        };
        let gradients = vec![by(-1.0 / b, -log25 / b), by(0.0, -1.0 / (b * b))];
        let curve = Curve::Beta { r25_ohm: libm::exp(log25), beta_k: 1.0 / b };
        (curve, vec![log25, 1.0 / b], gradients)
    } else {
        let with = SteinhartHart { a: found[0], b: found[1], c: found[2] };
        // The equation must fall from the first point to the last.
        if logs.iter().any(|log| with.slope(*log) <= 0.0) {
            return None;
        }
        (Curve::SteinhartHart(with), found, gradients)
    };
    let residuals_k: Vec<f64> =
        pairs.iter().map(|pair| curve.degc(pair[1]).map(|degc| degc - pair[0])).collect::<Option<_>>()?;
    let spare = pairs.len() - terms;
    let deviation_k = (spare > 0).then(|| (residuals_k.iter().map(|r| r * r).sum::<f64>() / spare as f64).sqrt());
    // The digits of a resistance in kelvin, by the slope of the curve.
    let ohms: Vec<f64> = pairs.iter().map(|pair| pair[1]).collect();
    let floor: Vec<f64> = pairs
        .iter()
        .zip(rounding(&ohms))
        .map(|(pair, ohm)| curve.alpha(pair[0]).map_or(0.0, |alpha| (ohm / (pair[1] * alpha)).abs()))
        .collect();
    let outlying = outliers(&rows, &values_k, &floor).unwrap_or_else(|| vec![false; pairs.len()]);
    let unit_errors = gradients.iter().map(|gradient| variance(gradient).max(0.0).sqrt()).collect();
    values.iter().all(|value| value.is_finite()).then_some(Fit {
        curve,
        values,
        unit_errors,
        residuals_k,
        deviation_k,
        outlying,
        spare,
    })
}

fn output(pairs: &[[f64; 2]], fit: &Fit) -> ThermistorFitOutput {
    let spare = u32::try_from(fit.spare).unwrap_or(u32::MAX);
    let student = coverage_factor(0.95, Some(f64::from(spare)));
    let coefficient = |index: usize, value: f64, scale: f64| {
        let standard_error = fit.deviation_k.map(|s| s * fit.unit_errors[index] * scale);
        FittedCoefficient { value, standard_error, half_width_95: standard_error.map(|u| u * student) }
    };
    let by_heat = |a: &&[f64; 2], b: &&[f64; 2]| a[0].total_cmp(&b[0]);
    let cold = pairs.iter().min_by(by_heat).copied().unwrap_or([0.0, 1.0]);
    let hot = pairs.iter().max_by(by_heat).copied().unwrap_or([0.0, 1.0]);
    let (mut beta, mut steinhart_hart) = (None, None);
    match &fit.curve {
        Curve::Beta { r25_ohm, beta_k } => {
            beta =
                Some(FittedBeta { r25_ohm: coefficient(0, *r25_ohm, *r25_ohm), beta_k: coefficient(1, *beta_k, 1.0) });
        }
        Curve::SteinhartHart(_) => {
            steinhart_hart = Some(FittedSteinhartHart {
                a: coefficient(0, fit.values[0], 1.0),
                b: coefficient(1, fit.values[1], 1.0),
                c: coefficient(2, fit.values[2], 1.0),
            });
        }
        Curve::Points(_) | Curve::Platinum { .. } => {}
    }
    let worst = (0..pairs.len()).max_by(|a, b| fit.residuals_k[*a].abs().total_cmp(&fit.residuals_k[*b].abs()));
    let worst = worst.unwrap_or(0);
    ThermistorFitOutput {
        beta,
        steinhart_hart,
        deviation_k: fit.deviation_k,
        degrees_of_freedom: spare,
        worst_residual_k: fit.residuals_k[worst].abs(),
        worst_line: u32::try_from(worst + 1).unwrap_or(u32::MAX),
        beta_of_ends_k: beta_of(cold, hot),
        from_degc: cold[0],
        to_degc: hot[0],
        points: pairs
            .iter()
            .zip(fit.residuals_k.iter().zip(&fit.outlying))
            .map(|(pair, (residual, outlying))| FittedTemperature {
                degc: pair[0],
                resistance_ohm: pair[1],
                fitted_degc: pair[0] + residual,
                residual_k: *residual,
                outlying: *outlying,
            })
            .collect(),
        carry_link: String::new(),
    }
}

/// The temperature channel with these coefficients.
fn carry_link(result: &ThermistorFitOutput) -> String {
    let mut start: ThermistorInput = field::start();
    if let Some(found) = &result.beta {
        start.curve = CurveKind::Beta;
        start.beta.r25_ohm = found.r25_ohm.value.clamp(10.0, 1e7);
        start.beta.beta_k = found.beta_k.value.clamp(500.0, 8000.0);
        // Two points lie on every curve.
        start.beta.curve_k = (result.degrees_of_freedom > 0).then_some(result.worst_residual_k.min(20.0));
    }
    if let Some(found) = &result.steinhart_hart {
        start.curve = CurveKind::SteinhartHart;
        start.steinhart_hart.a = found.a.value.clamp(-0.1, 0.1);
        start.steinhart_hart.b = found.b.value.clamp(-0.1, 0.1);
        start.steinhart_hart.c = found.c.value.clamp(-1e-3, 1e-3);
    }
    let (from, to) = (result.from_degc, result.to_degc);
    (start.min_degc, start.max_degc) = (from, to);
    start.points_degc = vec![from, 0.5 * (from + to), to];
    Entry::of::<super::Thermistor>().address(&start.write())
}

/// ln(R1/R2)/(1/T1 − 1/T2).
fn beta_of(cold: [f64; 2], hot: [f64; 2]) -> f64 {
    libm::log(cold[1] / hot[1]) / (1.0 / (cold[0] + ZERO_CELSIUS_K) - 1.0 / (hot[0] + ZERO_CELSIUS_K))
}

fn remarks(pairs: &[[f64; 2]], result: &ThermistorFitOutput, to: &mut Ledger) {
    let at = "/points";
    let exact = result.degrees_of_freedom == 0;
    to.warn("thermistor.fit-without-spare-points", at, exact, || {
        "As many points as coefficients: the residuals are zero by construction and say nothing about accuracy. Standard errors are left out.".into()
    });
    to.note("thermistor.fit-outliers-untold", at, result.degrees_of_freedom == 1, || {
        "With one spare point nothing tells which point is off: two are needed.".into()
    });
    for (index, point) in result.points.iter().enumerate().filter(|(_, point)| point.outlying) {
        to.warn("thermistor.fit-outlier", &format!("{at}/{index}"), true, || {
            let (place, off) = (celsius(point.degc), kelvin(point.residual_k));
            format!(
                "Row {}: {place} lies {off} from the curve, farther than the scatter of the others explains.",
                index + 1
            )
        });
    }
    // Beyond the number of coefficients, close points only add weight.
    let needed = if result.beta.is_some() { 20.0 } else { 40.0 };
    let mut sorted: Vec<f64> = pairs.iter().map(|pair| pair[0]).collect();
    sorted.sort_by(f64::total_cmp);
    let span = result.to_degc - result.from_degc;
    let close = exact && sorted.windows(2).any(|pair| pair[1] - pair[0] < 20.0);
    to.warn("thermistor.fit-points-close", at, close || span < needed, || {
        "Points closer than 20 K: their measuring errors decide the coefficients (common practice, no source).".into()
    });
    let negative = result.steinhart_hart.map(|found| found.c.value).filter(|c| *c < 0.0);
    to.warn("thermistor.fit-negative-c", at, negative.is_some(), || {
        let c = format!("{:.3e}", negative.unwrap_or_default()).replace('-', "−");
        format!("C is {c}: with thermistors it is positive. A point is off, or the points lie too close together.")
    });
    let wide = span > 120.0 && result.steinhart_hart.is_some() && !exact && result.worst_residual_k > 0.05;
    to.note("thermistor.fit-wide-span", "", wide, || {
        "Over more than 120 K three coefficients leave some hundredths of a kelvin: use the table itself for less."
            .into()
    });
    let bends = result.beta.is_some() && result.worst_residual_k > 0.2;
    to.note("thermistor.fit-beta-bends", "/equation", bends, || {
        format!("One beta leaves {} over this span: Steinhart-Hart follows the curve.", kelvin(result.worst_residual_k))
    });
}
