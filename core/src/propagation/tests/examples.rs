//! Worked examples of the guides.

use super::super::{Correlation, Coverage, Fault, Linear, Request, Source, assess};
use super::{close, model, normal, rectangular, sum_of, values};
use crate::work::Work;

model!(EndGauge, |x: &[N]| {
    // l = l_s + d − l_s·(δα·θ + α_s·δθ)
    x[0] + x[1] - x[0] * (x[2] * x[3] + x[4] * x[5])
});

#[test]
fn gum_h1_end_gauge() {
    // JCGM 100:2008, H.1, Table H.1, in nanometres: [estimate, u, degrees of freedom].
    let sources = [
        normal(50_000_623.0, 25.0).with_dof(18.0),
        normal(215.0, 9.7).with_dof(25.6),
        normal(0.0, 0.58e-6).with_dof(50.0),
        normal(-0.1, 0.41),
        normal(11.5e-6, 1.2e-6),
        normal(0.0, 0.029).with_dof(2.0),
    ];
    let request = Request { coverage: Coverage::Probability(0.99), ..values(None) };
    let budget = assess(&EndGauge, &sources, None, &request, Work::FREE).unwrap();
    close(budget.value, 50_000_838.0, 0.5);
    close(budget.gum.standard, 32.0, 0.5);
    close(budget.gum.degrees_of_freedom.unwrap(), 16.7, 0.1);
    close(budget.gum.k, 2.92, 0.005);
    close(budget.gum.expanded, 93.0, 0.6);
    // The reference standard is the largest contribution to the variance: 25² nm² of 1002 nm² (H.1.4).
    close(budget.contributions.iter().filter_map(|c| c.share_percent).fold(0.0, f64::max), 62.4, 0.3);
    close(budget.contributions.iter().filter_map(|c| c.share_percent).sum::<f64>(), 100.0, 1e-9);
}

/// Voltage [V], current [A] and phase [rad] of JCGM 100:2008, Table H.2.
const READINGS: [[f64; 5]; 3] = [
    [5.007, 4.994, 5.005, 4.990, 4.999],
    [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
];

/// Means with the standard uncertainties of means, and the correlation coefficients (JCGM 100:2008, 4.2 and 5.2.3).
fn simultaneous_readings() -> (Vec<Source>, Correlation) {
    let mean = |row: &[f64; 5]| row.iter().sum::<f64>() / 5.0;
    let covariance =
        |a: &[f64; 5], b: &[f64; 5]| a.iter().zip(b).map(|(x, y)| (x - mean(a)) * (y - mean(b))).sum::<f64>() / 20.0;
    let u = |row: &[f64; 5]| covariance(row, row).sqrt();
    let sources = READINGS.iter().map(|row| normal(mean(row), u(row)).with_dof(4.0)).collect();
    let rows: Vec<Vec<f64>> =
        READINGS.iter().map(|a| READINGS.iter().map(|b| covariance(a, b) / (u(a) * u(b))).collect()).collect();
    (sources, Correlation::new(&rows).unwrap())
}

/// The sine and cosine of the phase; a model may take any function it can write with a number's operations. The
/// phase stays within 0.01 of 1.044, so a few terms about π/3 are exact.
fn cosine<N: super::super::Number>(phase: N) -> N {
    let d = phase - std::f64::consts::FRAC_PI_3;
    let d2 = d * d;
    // cos(π/3 + d) = ½ cos d − (√3/2) sin d
    (d2 * d2 / 24.0 - d2 / 2.0 + 1.0) * 0.5 - (d - d * d2 / 6.0) * 0.866_025_403_784_438_6
}

fn sine<N: super::super::Number>(phase: N) -> N {
    let d = phase - std::f64::consts::FRAC_PI_3;
    let d2 = d * d;
    (d2 * d2 / 24.0 - d2 / 2.0 + 1.0) * 0.866_025_403_784_438_6 + (d - d * d2 / 6.0) * 0.5
}

model!(Resistance, |x: &[N]| x[0] / x[1] * cosine(x[2]));
model!(Reactance, |x: &[N]| x[0] / x[1] * sine(x[2]));
model!(Impedance, |x: &[N]| x[0] / x[1]);

#[test]
fn gum_h2_impedance_with_correlation() {
    // JCGM 100:2008, H.2, Table H.3. It prints u(X) = 0.295 from rounded intermediate values; 0.2956 unrounded.
    let (sources, correlation) = simultaneous_readings();
    for (i, j, r) in [(0, 1, -0.36), (0, 2, 0.86), (1, 2, -0.65)] {
        close(correlation.get(i, j), r, 0.005);
    }
    let result = |budget: super::super::Assessment| (budget.value, budget.gum.standard);
    let (r, u) = result(assess(&Resistance, &sources, Some(&correlation), &values(None), Work::FREE).unwrap());
    close(r, 127.732, 0.0005);
    close(u, 0.071, 0.0005);
    let (x, u) = result(assess(&Reactance, &sources, Some(&correlation), &values(None), Work::FREE).unwrap());
    close(x, 219.847, 0.0005);
    close(u, 0.2956, 0.0005);
    let (z, u) = result(assess(&Impedance, &sources, Some(&correlation), &values(None), Work::FREE).unwrap());
    close(z, 254.260, 0.0005);
    close(u, 0.236, 0.0005);
}

#[test]
fn gum_h2_impedance_without_correlation_is_wrong() {
    // JCGM 100:2008, H.2.4, Table H.5 (from memory; recomputed from the readings).
    let (sources, _) = simultaneous_readings();
    let u = |budget: super::super::Assessment| budget.gum.standard;
    close(u(assess(&Resistance, &sources, None, &values(None), Work::FREE).unwrap()), 0.195, 0.001);
    close(u(assess(&Reactance, &sources, None, &values(None), Work::FREE).unwrap()), 0.201, 0.001);
    close(u(assess(&Impedance, &sources, None, &values(None), Work::FREE).unwrap()), 0.204, 0.001);
}

#[test]
fn simultaneous_readings_keep_their_degrees_of_freedom() {
    // Five simultaneous sets evaluated one by one leave 5 − 1 degrees of freedom (JCGM 100:2008, H.2.4 approach 2),
    // however the sensitivities combine; the independent formula would give 0.06 here.
    let (sources, correlation) = simultaneous_readings();
    let budget = assess(&Resistance, &sources, Some(&correlation), &values(None), Work::FREE).unwrap();
    close(budget.gum.degrees_of_freedom.unwrap(), 4.0, 1e-9);
}

#[test]
fn jcgm_101_sum_of_four_normal() {
    // JCGM 101:2008, 9.2.2, Table 2: y = 0, u = 2.00, [−3.92, 3.92], GUM validated.
    let sources = vec![normal(0.0, 1.0); 4];
    let budget = assess(&sum_of(4), &sources, None, &values(Some(1_000_000)), Work::FREE).unwrap();
    let run = budget.monte_carlo.unwrap();
    close(run.mean.unwrap(), 0.0, 4.0 * 2.0 / 1000.0);
    close(run.standard.unwrap(), 2.0, 4.0 * 2.0 / 1414.0);
    // Standard error √(0.025·0.975/M)/f with f = φ(1.96)/2 = 0.0292.
    let error = (0.025_f64 * 0.975 / 1e6).sqrt() / 0.029_22;
    close(run.p95.low_error, error, 0.25 * error);
    close(run.p95.high_error, error, 0.25 * error);
    close(run.p95.symmetric.low, -3.919_928, 4.0 * error);
    close(run.p95.symmetric.high, 3.919_928, 4.0 * error);
    assert!(run.comparison.validated && run.comparison.resolved, "{:?}", run.comparison);
    close(run.comparison.delta, 0.05, 1e-12);
}

#[test]
fn jcgm_101_sum_of_four_rectangles() {
    // JCGM 101:2008, 9.2.3, Table 3: four rectangles of u = 1 give [−3.88, 3.88]; GUM [−3.92, 3.92].
    // Exact end: 2.239777·√3 = 3.87941 (Irwin-Hall distribution).
    let sources = vec![rectangular(0.0, 3.0_f64.sqrt()); 4];
    let budget = assess(&sum_of(4), &sources, None, &values(Some(1_000_000)), Work::FREE).unwrap();
    let run = budget.monte_carlo.unwrap();
    close(run.p95.symmetric.low, -3.879_41, 4.0 * run.p95.low_error);
    close(run.p95.symmetric.high, 3.879_41, 4.0 * run.p95.high_error);
    close(run.comparison.gum.high, 3.92, 0.005);
}

#[test]
fn jcgm_101_one_rectangle_dominates() {
    // JCGM 101:2008, 9.2.4, Table 4 (from memory): [−17.0, 17.0] against the GUM's [−19.9, 19.9]; exact 17.0158.
    let mut sources = vec![rectangular(0.0, 3.0_f64.sqrt()); 3];
    sources.push(rectangular(0.0, 10.0 * 3.0_f64.sqrt()));
    let budget = assess(&sum_of(4), &sources, None, &values(Some(1_000_000)), Work::FREE).unwrap();
    close(budget.gum.standard, 10.149, 0.0005);
    let run = budget.monte_carlo.unwrap();
    close(run.p95.symmetric.low, -17.0158, 4.0 * run.p95.low_error);
    close(run.p95.symmetric.high, 17.0158, 4.0 * run.p95.high_error);
    assert!(run.p95.high_error < 0.01);
    close(run.comparison.gum.low, -19.9, 0.05);
    assert!(!run.comparison.validated);
}

model!(Mass, |x: &[N]| {
    // (m_Rc + δm_Rc)·(1 + (ρ_a − 1.2)·(1/ρ_W − 1/ρ_R)) − 100 000 mg
    let one = N::from(1.0);
    (x[0] + x[1]) * ((x[2] - 1.2) * (one / x[3] - one / x[4]) + 1.0) - 100_000.0
});

#[test]
fn jcgm_101_mass_calibration() {
    // JCGM 101:2008, 9.3, Table 6 (interval ends from memory; exact symmetric ends by smoothing 4e7 draws).
    let sources = [
        normal(100_000.0, 0.050),
        normal(1.234, 0.020),
        rectangular(1.20, 0.10),
        rectangular(8000.0, 1000.0),
        rectangular(8000.0, 50.0),
    ];
    let budget = assess(&Mass, &sources, None, &values(Some(1_000_000)), Work::FREE).unwrap();
    close(budget.value, 1.234, 0.0005);
    close(budget.gum.standard, 0.0539, 0.0005);
    let run = budget.monte_carlo.unwrap();
    close(run.mean.unwrap(), 1.234, 0.0005);
    close(run.standard.unwrap(), 0.0755, 0.0005);
    close(run.comparison.gum.low, 1.1285, 0.0005);
    close(run.comparison.gum.high, 1.3395, 0.0005);
    close(run.p95.symmetric.low, 1.0844, 0.0015);
    close(run.p95.symmetric.high, 1.3836, 0.0015);
    // The place of the shortest interval is noisy, its width is not.
    close(run.p95.shortest.high - run.p95.shortest.low, 0.2991, 0.0015);
    assert!(!run.comparison.validated);
}

model!(ComparisonLoss, |x: &[N]| x[0] * x[0] + x[1] * x[1]);

#[test]
fn jcgm_101_comparison_loss() {
    // JCGM 101:2008, 9.4: Y = X1² + X2², u = 0.005; in 1e-6: mean, u, symmetric 95 % ends (non-central chi-squared,
    // exact for r = 0; 2e7 draws for r = 0.9), shortest 95 % ends (Tables 8 and 9, from memory).
    for (x1, r, mean, u, symmetric, shortest) in [
        (0.010, 0.0, 150.0, 111.8, [8.5, 427.1], [0.0, 366.0]),
        (0.050, 0.0, 2550.0, 502.5, [1638.5, 3603.4], [1594.0, 3549.0]),
        (0.010, 0.9, 150.0, 120.5, [29.1, 478.3], [13.0, 398.0]),
        (0.050, 0.9, 2550.0, 504.5, [1696.6, 3659.8], [1623.0, 3554.0]),
    ] {
        let sources = [normal(x1, 0.005), normal(0.0, 0.005)];
        let correlation = Correlation::new(&[vec![1.0, r], vec![r, 1.0]]).unwrap();
        let budget =
            assess(&ComparisonLoss, &sources, Some(&correlation), &values(Some(1_000_000)), Work::FREE).unwrap();
        let run = budget.monte_carlo.unwrap();
        let scale = 1e6;
        close(scale * run.mean.unwrap(), mean, 4.0 * u / 1000.0);
        // The fourth moment of these skewed outputs is at most about 9u⁴: error of u about u·√8/2000.
        close(scale * run.standard.unwrap(), u, 0.05 + 4.0 * u * 8.0_f64.sqrt() / 2000.0);
        close(scale * run.p95.symmetric.low, symmetric[0], 0.05 + 4.0 * scale * run.p95.low_error);
        close(scale * run.p95.symmetric.high, symmetric[1], 0.15 + 4.0 * scale * run.p95.high_error);
        let width = shortest[1] - shortest[0];
        close(scale * (run.p95.shortest.high - run.p95.shortest.low), width, 0.01 * width);
        close(scale * run.p95.shortest.low, shortest[0], 0.03 * width);
        close(scale * budget.gum.standard, if x1 > 0.02 { 500.0 } else { 100.0 }, 1e-6);
    }
}

#[test]
fn dominating_rectangle_of_a_multimeter() {
    // EA-4/02 M:2022, supplement S9 (k = 1.65 from memory): u = 0.030 V, U = 0.05 V. Exact 95 % end 0.0505119 V:
    // convolution of rectangles ±0.05 V and ±0.011 V.
    let sources = [normal(100.1, 0.0), normal(100.0, 0.001), rectangular(0.0, 0.05), rectangular(0.0, 0.011)];
    let model = Linear { offset: 0.0, coefficients: vec![1.0, -1.0, 1.0, -1.0] };
    let budget = assess(&model, &sources, None, &values(Some(1_000_000)), Work::FREE).unwrap();
    close(budget.value, 0.1, 1e-9);
    close(budget.gum.standard, 0.029_57, 0.000_005);
    let run = budget.monte_carlo.unwrap();
    close(run.p95.symmetric.high - run.p95.symmetric.low, 2.0 * 0.0505, 0.0002);
    assert!(!run.comparison.validated);
}

model!(Substitution, |x: &[N]| (x[0] + x[1] + x[2]) * x[4] * x[5] - x[3]);

#[test]
fn resistor_by_substitution() {
    // EA-4/02 M:2022, supplement S3: R_X = 10 000.178 Ω, u = 8.33 mΩ, U = 17 mΩ (inputs from memory).
    use super::super::Distribution;
    let sources = [
        rectangular(10_000.053, 0.005).distributed(Distribution::Normal { k: 2.0 }),
        rectangular(0.020, 0.010),
        rectangular(0.0, 0.002_75),
        rectangular(0.0, 0.005_5),
        rectangular(1.0, 1.0e-6).distributed(Distribution::Triangular),
        normal(1.000_010_5, 0.07e-6),
    ];
    let budget = assess(&Substitution, &sources, None, &values(None), Work::FREE).unwrap();
    close(budget.value, 10_000.178, 0.0005);
    close(budget.gum.standard, 0.008_33, 0.000_005);
    close(budget.gum.expanded, 0.017, 0.0005);
}

#[test]
fn correlation_has_to_fit_the_sources() {
    let correlation = Correlation::new(&[vec![1.0, 0.5], vec![0.5, 1.0]]).unwrap();
    let three = vec![normal(0.0, 1.0); 3];
    assert!(matches!(
        assess(&sum_of(3), &three, Some(&correlation), &values(None), Work::FREE),
        Err(Fault::Correlation(_))
    ));
    let grouped = [normal(0.0, 1.0).grouped("network", 0.5), normal(0.0, 1.0)];
    assert!(matches!(
        assess(&sum_of(2), &grouped, Some(&correlation), &values(None), Work::FREE),
        Err(Fault::Correlation(_))
    ));
}
