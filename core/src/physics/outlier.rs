//! # Points that do not fit
//!
//! A point that is off pulls the curve towards itself and swells the scatter it is measured by: held against the scatter
//! of all points it may never show. Here each is held against the scatter of the others.
//!
//! ```text
//! Formula    t_i = r_i / (s_(i) √(1 − h_i)), h_i = a_iᵀ (AᵀA)⁻¹ a_i, s_(i)² = (Σ r² − r_i²/(1 − h_i))/(n − p − 1)
//! Fires      |t_i| above Student's 1 − 0.01/(2 n) with n − p − 1 degrees: in 1 % of the fits without any outlier one is named
//! Order      the largest first, taken out, again; at most n/4 points
//! Floor      s_(i) is no smaller than the rounding of the typed figures, a digit/√12
//! Valid      n ≥ p + 2; equally good points with normal scatter; a point with h = 1 decides the curve alone and cannot be
//!            judged
//! Source     Cook and Weisberg, Residuals and Influence in Regression (1982), 2.2.3 (outlier test with Bonferroni's bound)
//! ```

use crate::numeric::least_squares;
use crate::propagation::coverage_factor;

/// Of fits without an outlier this share names one. Common practice, no source.
const FALSE_ALARMS: f64 = 0.01;

/// A leverage nearer to 1 leaves no residual to judge.
const LEAST_FREEDOM: f64 = 1e-9;

/// Which points of a least-squares fit do not fit, in the order of the rows; `rounding` is the standard deviation of each
/// value by the digits it was typed with. None when there are too few points to tell.
pub fn outliers(rows: &[Vec<f64>], values: &[f64], rounding: &[f64]) -> Option<Vec<bool>> {
    let (n, p) = (rows.len(), rows.first()?.len());
    if n < p + 2 {
        return None;
    }
    let mut out = vec![false; n];
    let mut kept: Vec<usize> = (0..n).collect();
    for _ in 0..n / 4 {
        let left = kept.len();
        if left < p + 2 {
            break;
        }
        let some_rows: Vec<Vec<f64>> = kept.iter().map(|&i| rows[i].clone()).collect();
        let some_values: Vec<f64> = kept.iter().map(|&i| values[i]).collect();
        let Some(fit) = least_squares(&some_rows, &some_values) else { break };
        let all: f64 = fit.residuals.iter().map(|r| r * r).sum();
        let degrees = (left - p - 1) as f64;
        let studentised = |at: usize| {
            let (row, r) = (&some_rows[at], fit.residuals[at]);
            let product = |other: &[f64]| row.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
            let freedom = 1.0 - product(&fit.unit_covariance.iter().map(|line| product(line)).collect::<Vec<_>>());
            if freedom < LEAST_FREEDOM {
                return 0.0;
            }
            let others = ((all - r * r / freedom) / degrees).max(0.0).sqrt().max(rounding[kept[at]]);
            if r == 0.0 { 0.0 } else { r.abs() / (others * freedom.sqrt()) }
        };
        let Some((at, largest)) = (0..left).map(|at| (at, studentised(at))).max_by(|a, b| a.1.total_cmp(&b.1)) else {
            break;
        };
        if largest <= coverage_factor(1.0 - FALSE_ALARMS / left as f64, Some(degrees)) {
            break;
        }
        out[kept.remove(at)] = true;
    }
    Some(out)
}

/// The standard deviation of each value by the digits it was typed with: all have as many as the longest of them, as zeros
/// at the end do not show.
pub fn rounding(values: &[f64]) -> Vec<f64> {
    // `1.0004e-4`: the shortest text that reads back to the same double.
    let parts = |value: f64| {
        let text = format!("{:e}", value.abs());
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let after_point = digits.split_once('.').map_or(0, |(_, after)| after.len());
        (i32::try_from(after_point).unwrap_or(0), exponent.parse::<i32>().unwrap_or(0))
    };
    let longest = values.iter().map(|value| parts(*value).0).max().unwrap_or(0);
    values.iter().map(|value| libm::pow(10.0, f64::from(parts(*value).1 - longest)) / 12f64.sqrt()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Normal numbers by Box and Muller from a linear congruence (Knuth's constants).
    fn normals(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        let mut uniform = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        };
        move || (-2.0 * uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * uniform()).cos()
    }

    fn line(n: usize) -> Vec<Vec<f64>> {
        (0..n).map(|i| vec![1.0, i as f64]).collect()
    }

    /// Student's quantile 1 − 0.01/14 with 4 degrees is 7.8 (scipy 1.17.1: 7.8426).
    #[test]
    fn the_limit_of_seven_points_on_a_line_is_7_8() {
        assert!((coverage_factor(1.0 - FALSE_ALARMS / 7.0, Some(4.0)) - 7.8).abs() < 0.05);
    }

    /// 5 and 7 points with a scatter of 2 ppm, any one of them 5 % off: found always, and no other.
    #[test]
    fn one_point_far_off_is_always_found() {
        let mut normal = normals(1);
        for n in [5, 7] {
            for trial in 0..500 {
                let off = trial % n;
                let values: Vec<f64> = (0..n)
                    .map(|i| (1.0 + 1e-3 * i as f64) * (1.0 + 2e-6 * normal()) * if i == off { 1.05 } else { 1.0 })
                    .collect();
                let found = outliers(&line(n), &values, &vec![0.0; n]).expect("enough points");
                assert!((0..n).all(|i| found[i] == (i == off)), "{n} points, {off} off: {found:?}");
            }
        }
    }

    /// Without an outlier one is named in 1 % of the fits; 20,000 trials tell it to ± 0.07 % (one standard deviation).
    #[test]
    fn one_percent_of_good_fits_raise_an_alarm() {
        let mut normal = normals(2);
        for n in [5, 7, 12] {
            let trials = 20_000;
            let alarms = (0..trials).filter(|_| {
                let values: Vec<f64> = (0..n).map(|i| 1.0 + 1e-3 * i as f64 + 2e-6 * normal()).collect();
                outliers(&line(n), &values, &vec![0.0; n]).expect("enough points").contains(&true)
            });
            let share = alarms.count() as f64 / f64::from(trials);
            assert!((0.007..0.013).contains(&share), "{n} points: {share}");
        }
    }

    #[test]
    fn too_few_points_and_a_point_that_decides_alone_are_not_judged() {
        assert_eq!(outliers(&line(3), &[1.0, 2.0, 9.0], &[0.0; 3]), None);
        // The last row alone has its column: whatever is typed there, the curve passes through it.
        let rows: Vec<Vec<f64>> = (0..6).map(|i| vec![1.0, f64::from(u8::from(i == 5))]).collect();
        let found = outliers(&rows, &[1.0, 1.1, 0.9, 1.05, 0.95, 1e3], &[0.0; 6]).expect("enough points");
        assert_eq!(found, [false; 6]);
    }

    /// Points that agree within the digits they were typed with are no outliers of each other.
    #[test]
    fn rounding_of_the_typed_figures_is_scatter_enough() {
        let values = [1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.8];
        let floor = rounding(&values);
        assert!((floor[0] - 0.1 / 12f64.sqrt()).abs() < 1e-15);
        let found = outliers(&line(8), &values, &floor).expect("enough points");
        assert_eq!(found, [false; 8]);
        assert!(outliers(&line(8), &values, &[0.0; 8]).expect("enough points")[7]);
        let spread = rounding(&[239.8e3, 10e3, 531.0]);
        assert!((spread[2] * 12f64.sqrt() - 0.1).abs() < 1e-9 && (spread[0] * 12f64.sqrt() - 100.0).abs() < 1e-9);
    }
}
