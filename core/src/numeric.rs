//! # Least squares for a handful of coefficients
//!
//! A straight line or a parabola through measured points, by Householder reflections, which keep the digits that the
//! normal equations lose. The covariance of the coefficients comes from the same triangle.
//!
//! ```text
//! Formula    min |A c − y|²; A = Q R; c = R⁻¹ Qᵀ y; s² = |r|²/(n − p); cov(c) = s² R⁻¹ R⁻ᵀ
//! Valid      full column rank; rows are equally good
//! Source     Golub and Van Loan, Matrix Computations, section 5.3
//! ```

/// A fitted model.
#[derive(Clone, Debug, PartialEq)]
pub struct LeastSquares {
    /// The coefficients.
    pub coefficients: Vec<f64>,
    /// R⁻¹ R⁻ᵀ: the covariance for a unit variance of the points.
    pub unit_covariance: Vec<Vec<f64>>,
    /// y − A c, in the order of the rows.
    pub residuals: Vec<f64>,
    /// Standard deviation of the points about the model; none without spare points.
    pub deviation: Option<f64>,
}

/// Fits `rows` (one row of the design matrix a point) to `values`; none when the columns depend on each other.
pub fn least_squares(rows: &[Vec<f64>], values: &[f64]) -> Option<LeastSquares> {
    let (n, p) = (rows.len(), rows.first()?.len());
    if n < p || values.len() != n || rows.iter().any(|row| row.len() != p) {
        return None;
    }
    let mut a: Vec<Vec<f64>> = rows.to_vec();
    let mut y = values.to_vec();
    for k in 0..p {
        let norm = a[k..].iter().map(|row| row[k] * row[k]).sum::<f64>().sqrt();
        let largest = rows.iter().map(|row| row[k].abs()).fold(0.0, f64::max);
        // A column that is left with rounding noise only depends on the columns before it.
        if !(norm > 1e-12 * largest * (n as f64).sqrt()) {
            return None;
        }
        let alpha = if a[k][k] > 0.0 { -norm } else { norm };
        let mut v: Vec<f64> = a[k..].iter().map(|row| row[k]).collect();
        v[0] -= alpha;
        let length: f64 = v.iter().map(|x| x * x).sum();
        let reflect = |column: &mut dyn FnMut(usize) -> f64| {
            2.0 * v.iter().enumerate().map(|(i, x)| x * column(k + i)).sum::<f64>() / length
        };
        #[allow(clippy::needless_range_loop, reason = "a column of the matrix, which is stored by rows")]
        for j in k..p {
            let scale = reflect(&mut |i| a[i][j]);
            for (i, x) in v.iter().enumerate() {
                a[k + i][j] -= scale * x;
            }
        }
        let scale = reflect(&mut |i| y[i]);
        for (i, x) in v.iter().enumerate() {
            y[k + i] -= scale * x;
        }
    }
    let solve = |right: &[f64]| -> Vec<f64> {
        let mut x = vec![0.0; p];
        for i in (0..p).rev() {
            let known: f64 = (i + 1..p).map(|j| a[i][j] * x[j]).sum();
            x[i] = (right[i] - known) / a[i][i];
        }
        x
    };
    let coefficients = solve(&y[..p]);
    // The columns of R⁻¹.
    let inverse: Vec<Vec<f64>> =
        (0..p).map(|k| solve(&(0..p).map(|i| f64::from(u8::from(i == k))).collect::<Vec<_>>())).collect();
    let unit_covariance =
        (0..p).map(|i| (0..p).map(|j| inverse.iter().map(|column| column[i] * column[j]).sum()).collect()).collect();
    let residuals: Vec<f64> = rows
        .iter()
        .zip(values)
        .map(|(row, value)| value - row.iter().zip(&coefficients).map(|(x, c)| x * c).sum::<f64>())
        .collect();
    let spare = n - p;
    let deviation = (spare > 0).then(|| (residuals.iter().map(|r| r * r).sum::<f64>() / spare as f64).sqrt());
    Some(LeastSquares { coefficients, unit_covariance, residuals, deviation })
}

/// The first value at which something holds that does not hold at `low` and does at `high`, by bisection.
pub fn first_where(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// The first value at which a rising function is not negative, below 0 at `low` and not at `high`: a few bisections, then
/// secants that are kept between the ends (Illinois: an end that stays is halved in height).
pub fn crossing(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const BISECTIONS: u32 = 7;
    let (mut below, mut above) = (f(low), f(high));
    for step in 0..60 {
        let secant = (high * below - low * above) / (below - above);
        let inside = step >= BISECTIONS && low < secant && secant < high;
        let at = if inside { secant } else { f64::midpoint(low, high) };
        if at <= low || at >= high || high - low <= 1e-14 * high {
            break;
        }
        let value = f(at);
        if value >= 0.0 {
            (high, above, below) = (at, value, if inside { 0.5 * below } else { below });
        } else {
            (low, below, above) = (at, value, if inside { 0.5 * above } else { above });
        }
    }
    high
}

/// The first of evenly spaced places, counted from 0 up to `last`, at which a falling function is no longer positive; it is
/// positive at 0 and not at `last`. Asks at most one question more than halving does, and few where the function is smooth:
/// between the straight line and the middle (I. F. D. Oliveira and R. H. C. Takahashi, ACM Trans. Math. Softw. 47 (2020) 5).
///
/// # Errors
/// What the function says.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, and inside 0 … last")]
pub fn first_place<E>(last: u32, ends: [f64; 2], mut f: impl FnMut(u32) -> Result<f64, E>) -> Result<u32, E> {
    let [mut above, mut below] = ends;
    let (mut low, mut high) = (0.0, f64::from(last));
    let pull = 0.2 / high;
    let mut allowed = f64::from(last.next_power_of_two());
    while high - low > 1.0 {
        let (width, half) = (high - low, f64::midpoint(low, high));
        let straight = low + width * above / (above - below);
        let away = half - straight;
        let pulled = pull * width * width;
        let moved = if pulled < away.abs() { straight + pulled.copysign(away) } else { half };
        let reach = (allowed - 0.5 * width).max(0.0);
        let at = if (moved - half).abs() <= reach { moved } else { half - reach.copysign(away) };
        let at = at.round().clamp(low + 1.0, high - 1.0);
        let value = f(at as u32)?;
        if value > 0.0 {
            (low, above) = (at, value);
        } else {
            (high, below) = (at, value);
        }
        allowed *= 0.5;
    }
    Ok(high as u32)
}

/// Evenly spaced places of a search, ends included.
const PLACES: u32 = 33;

/// Whether a value is larger than another by more than its last digits, so that rounding chooses no place.
fn larger(value: f64, than: f64) -> bool {
    value > than && (than.is_infinite() || value - than > 1e-13 * than.abs())
}

/// Where a function of one variable is largest: evenly spaced places and the given ones, the three best of them refined
/// between their neighbours by golden sections; of places that are as good the lowest. A value without bound ends the search:
/// nothing is larger.
pub fn where_largest(low: f64, high: f64, also: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    if !(low < high) {
        return low;
    }
    let mut xs: Vec<f64> = (0..PLACES).map(|i| low + (high - low) * f64::from(i) / f64::from(PLACES - 1)).collect();
    xs.extend(also.iter().copied().filter(|x| low < *x && *x < high));
    xs.sort_by(f64::total_cmp);
    xs.dedup();
    let ys: Vec<f64> = xs.iter().map(|x| f(*x)).collect();
    let mut order: Vec<usize> = (0..xs.len()).collect();
    order.sort_by(|a, b| ys[*b].total_cmp(&ys[*a]));
    let places = ys.iter().copied().zip(xs.iter().copied());
    let mut best = places.reduce(|best, one| if larger(one.0, best.0) { one } else { best }).unwrap_or((0.0, low));
    if best.0 == f64::INFINITY {
        return best.1;
    }
    for &at in order.iter().take(3) {
        let (mut from, mut to) = (xs[at.saturating_sub(1)], xs[(at + 1).min(xs.len() - 1)]);
        let [left, right] = [to - GOLDEN * (to - from), from + GOLDEN * (to - from)];
        let (mut left, mut right) = ((f(left), left), (f(right), right));
        for _ in 0..24 {
            // One of the two inner places is an inner place of what is left.
            if left.0 < right.0 {
                (from, left) = (left.1, right);
                let at = from + GOLDEN * (to - from);
                right = (f(at), at);
            } else {
                (to, right) = (right.1, left);
                let at = to - GOLDEN * (to - from);
                left = (f(at), at);
            }
            for found in [left, right] {
                if larger(found.0, best.0) {
                    best = found;
                }
            }
        }
    }
    best.1
}

/// (√5 − 1)/2.
const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// `count` values from `low` to `high`, evenly on a logarithmic scale.
pub fn log_grid(low: f64, high: f64, count: u32) -> impl Iterator<Item = f64> {
    let ratio = libm::log(high / low);
    (0..count).map(move |index| match index {
        0 => low,
        index if index + 1 == count => high,
        index => low * libm::exp(ratio * f64::from(index) / f64::from(count - 1)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 − exp(−t) reaches 0.3 at −ln 0.7 and 1 − 1e-9 at 9 ln 10.
    #[test]
    fn the_crossing_is_found_to_the_last_digits() {
        for (level, at) in [(0.3, -(0.7_f64.ln())), (1.0 - 1e-9, 9.0 * std::f64::consts::LN_10)] {
            let found = crossing(0.0, 60.0, |t: f64| -(-t).exp_m1() - level);
            // 1 − 1e-9 itself is known to 1e-16, so that its logarithm is to 1e-7 of one.
            assert!((found - at).abs() < 1e-13 + 2e-16 / (1.0 - level), "{found} {at}");
        }
    }

    /// Every place is found as by counting, with at most one question more than halving asks; smooth functions need few.
    #[test]
    fn the_first_place_is_found_with_few_questions() {
        for bits in [1, 7, 20] {
            let last = 1_u32 << bits;
            for at in (1..=60).map(|part| (f64::from(last) * f64::from(part) / 60.0).ceil()) {
                let smooth = |x: f64| (-3.0 * x / f64::from(last)).exp() - (-3.0 * (at - 0.5) / f64::from(last)).exp();
                let sharp = |x: f64| if x < at { 1.0 } else { -1e9 };
                for (most, f) in [(bits + 1, &sharp as &dyn Fn(f64) -> f64), ((bits + 1).min(10), &smooth)] {
                    let mut asked = 0;
                    let ends = [f(0.0), f(f64::from(last))];
                    let found = first_place(last, ends, |place| {
                        asked += 1;
                        Ok::<_, ()>(f(f64::from(place)))
                    });
                    assert!(found.map(f64::from) == Ok(at) && asked <= most, "{at} of {last}: {found:?} after {asked}");
                }
            }
        }
        assert_eq!(first_place(1 << 20, [1.0, -1.0], |_| Err("stopped")), Err("stopped"));
    }

    /// Two humps of closed form, and a pole that ends the search.
    #[test]
    fn the_largest_of_several_humps_is_found() {
        let humps = |x: f64| (9.0 * x).sin() + 0.3 * x;
        // The derivative 9 cos 9x + 0.3 = 0 on the last hump below 3: 9x = 8π + acos(−1/30).
        let at = (8.0 * std::f64::consts::PI + (-1.0_f64 / 30.0).acos()) / 9.0;
        assert!((where_largest(0.0, 3.0, &[], humps) - at).abs() < 1e-5);
        assert_eq!(where_largest(0.0, 3.0, &[0.777], |x| if x == 0.777 { f64::INFINITY } else { x }), 0.777);
        assert_eq!(where_largest(2.0, 2.0, &[], humps), 2.0);
    }

    /// JCGM 100:2008 H.3, the calibration of a thermometer: table H.6 and clauses H.3.3, H.3.4.
    #[test]
    fn the_thermometer_of_gum_h3_has_its_published_line() {
        let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
        let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
        let rows: Vec<Vec<f64>> = t.iter().map(|t| vec![1.0, t - 20.0]).collect();
        let fit = least_squares(&rows, &b).expect("full rank");
        let s = fit.deviation.expect("spare points");
        let u = |i: usize| s * fit.unit_covariance[i][i].sqrt();
        assert!((fit.coefficients[0] - -0.1712).abs() < 5e-5 && (fit.coefficients[1] - 0.00218).abs() < 5e-6);
        assert!((u(0) - 0.0029).abs() < 5e-5 && (u(1) - 0.00067).abs() < 5e-6 && (s - 0.0035).abs() < 5e-5);
        let r = fit.unit_covariance[0][1] / (fit.unit_covariance[0][0] * fit.unit_covariance[1][1]).sqrt();
        assert!((r - -0.930).abs() < 5e-4);
        let at_30 = fit.coefficients[0] + 10.0 * fit.coefficients[1];
        let u_30 = s
            * (fit.unit_covariance[0][0] + 20.0 * fit.unit_covariance[0][1] + 100.0 * fit.unit_covariance[1][1]).sqrt();
        assert!((at_30 - -0.1494).abs() < 5e-5 && (u_30 - 0.0041).abs() < 5e-5);
    }

    #[test]
    fn dependent_columns_and_too_few_points_are_refused() {
        let rows: Vec<Vec<f64>> = (0..5).map(|i| vec![1.0, 2.0 + f64::from(i) * 0.0]).collect();
        assert_eq!(least_squares(&rows, &[1.0; 5]), None);
        assert_eq!(least_squares(&[vec![1.0, 2.0]], &[1.0]), None);
        assert_eq!(least_squares(&[], &[]), None);
    }
}
