//! The fault loop: a constant voltage behind a resistance and an inductance, in closed form.
//!
//! ```text
//! Formula    i(t) = I_0 + A g, A = I_f − I_0, g = 1 − e^(−t/τ), I_f = V/R, τ = L/R
//!            t(I_th) = τ ln((I_f − I_0)/(I_f − I_th)), never when I_th ≥ I_f
//!            ∫i² dt = I_0² t + 2 I_0 A τ (x − g) + A² τ (x − g − g²/2), x = t/τ
//!            behind a filter of time constant τ_f: y(t) = I_f + (I_0 − I_f)(τ e^(−t/τ) − τ_f e^(−t/τ_f))/(τ − τ_f); a the
//!            longer and b the shorter of both: of the step e^(−t/a)(1 + t/a (1 − e^(−z))/z) is left, z = t(1/b − 1/a)
//! Symbols    I_0 [A] before the fault, I_f [A] prospective, τ [s] of the loop
//! Accuracy   x − g and x − g − g²/2 are the tails of −ln(1 − g): summed as such for small g, where the differences cancel
//! Valid      constant V, R and L: R rises with heating, iron saturates, cells sag after some milliseconds
//! Source     first-order linear differential equation; checked by numerical integration in the tests
//! ```

/// A loop whose time constant is below this behaves like a step, s.
const SHORTEST_S: f64 = 1e-15;

/// A step of Newton's method that is so short lands on the place: what is missing then is about its square.
const NEAR: f64 = 1e-8;

/// A fault loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// Voltage of the source, V.
    pub voltage_v: f64,
    /// Resistance of the whole loop, Ω.
    pub resistance_ohm: f64,
    /// Inductance of the whole loop, H.
    pub inductance_henry: f64,
}

/// Σ g^k/k from the third power on: the tail of −ln(1 − g), for g below 0.1.
fn tail(g: f64) -> f64 {
    const INVERSE: [f64; 20] = {
        let mut inverse = [0.0; 20];
        let mut place = 0;
        while place < inverse.len() {
            inverse[place] = 1.0 / (22 - place) as f64;
            place += 1;
        }
        inverse
    };
    INVERSE.iter().fold(0.0, |sum, one| sum * g + one) * g * g * g
}

impl Loop {
    /// Prospective current V/R, A.
    pub fn prospective_a(&self) -> f64 {
        self.voltage_v / self.resistance_ohm
    }

    /// Time constant L/R, s; zero for a step.
    pub fn time_constant_s(&self) -> f64 {
        let tau = self.inductance_henry / self.resistance_ohm;
        if tau < SHORTEST_S { 0.0 } else { tau }
    }

    /// Current at a time after the fault, A.
    pub fn current_a(&self, before_a: f64, time_s: f64) -> f64 {
        let (last, tau) = (self.prospective_a(), self.time_constant_s());
        if time_s <= 0.0 {
            before_a
        } else if tau == 0.0 {
            last
        } else {
            before_a - (last - before_a) * libm::expm1(-time_s / tau)
        }
    }

    /// The integral of i² from the fault on, A²s.
    pub fn let_through_a2s(&self, before_a: f64, time_s: f64) -> f64 {
        let (last, tau) = (self.prospective_a(), self.time_constant_s());
        if time_s <= 0.0 {
            return 0.0;
        }
        if tau == 0.0 {
            return last * last * time_s;
        }
        self.passed_a2s(before_a, time_s, -libm::expm1(-time_s / tau))
    }

    /// The same of a loop that is no step, where the current has come so far of its way.
    fn passed_a2s(&self, before_a: f64, time_s: f64, g: f64) -> f64 {
        let (tau, rise) = (self.time_constant_s(), self.prospective_a() - before_a);
        let x = time_s / tau;
        let square = 0.5 * g * g;
        let (first, second) = if g < 0.1 {
            let tail = tail(g);
            (square + tail, tail)
        } else {
            (x - g, x - g - square)
        };
        before_a * before_a * time_s + 2.0 * before_a * rise * tau * first + rise * rise * tau * second
    }

    /// The loop of a part of this current: the same voltage and time constant.
    #[must_use]
    pub fn part(&self, share: f64) -> Self {
        let (resistance_ohm, inductance_henry) = (self.resistance_ohm / share, self.inductance_henry / share);
        Self { voltage_v: self.voltage_v, resistance_ohm, inductance_henry }
    }

    /// The same loop, driven by a part of the voltage.
    #[must_use]
    pub fn driven_by(&self, share: f64) -> Self {
        Self { voltage_v: share * self.voltage_v, ..*self }
    }

    /// Energy stored at a current, ½ L i², J.
    pub fn stored_j(&self, current_a: f64) -> f64 {
        0.5 * self.inductance_henry * current_a * current_a
    }

    /// When the current reaches a threshold, s; none when it never does.
    pub fn time_to_s(&self, before_a: f64, threshold_a: f64) -> Option<f64> {
        let (last, tau) = (self.prospective_a(), self.time_constant_s());
        if before_a >= threshold_a {
            Some(0.0)
        } else if last > threshold_a {
            Some(tau * libm::log1p((threshold_a - before_a) / (last - threshold_a)))
        } else {
            None
        }
    }

    /// When the current behind a first-order filter reaches a threshold, s. The filter has settled before the fault.
    pub fn filtered_time_to_s(&self, before_a: f64, threshold_a: f64, filter_s: f64) -> Option<f64> {
        let unfiltered = self.time_to_s(before_a, threshold_a)?;
        if filter_s < SHORTEST_S || before_a >= threshold_a {
            return Some(unfiltered);
        }
        let last = self.prospective_a();
        let far = libm::log1p((threshold_a - before_a) / (last - threshold_a));
        Some(time_until(self.time_constant_s(), filter_s, far))
    }

    /// When the integral of i² reaches a value, s: Newton's method inside a bracket.
    pub fn time_for_s(&self, before_a: f64, let_through_a2s: f64) -> Option<f64> {
        let (last, tau) = (self.prospective_a(), self.time_constant_s());
        if tau == 0.0 {
            return Some(let_through_a2s / (last * last)).filter(|time| time.is_finite());
        }
        let scale = let_through_a2s / (last * last) + 1.5 * tau;
        let (mut low, mut high) = (0.0, scale.max(SHORTEST_S));
        let mut doublings = 0;
        while self.let_through_a2s(before_a, high) < let_through_a2s {
            (low, high) = (high, 2.0 * high);
            doublings += 1;
            if doublings == 200 {
                return None;
            }
        }
        // As if the current rose evenly, as it does at first.
        let rise = last - before_a;
        let cube = before_a * before_a * before_a + 3.0 * let_through_a2s * rise / tau;
        let even = tau * (libm::cbrt(cube) - before_a) / rise;
        let mut time = if even > low && even < tau.min(high) { even } else { high };
        for _ in 0..200 {
            let g = -libm::expm1(-time / tau);
            let missing = self.passed_a2s(before_a, time, g) - let_through_a2s;
            if missing >= 0.0 {
                high = time;
            } else {
                low = time;
            }
            let current = before_a + rise * g;
            let newton = time - missing / (current * current);
            if (newton - time).abs() <= NEAR * time {
                return Some(newton);
            }
            let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
            if next <= low || next >= high {
                return Some(next);
            }
            time = next;
        }
        Some(time)
    }
}

/// When only e^(−far) is left of a step behind two lags, s: Newton's method on the logarithm of what is left. That is concave for
/// two lags in a row, so that one step from anywhere lands at or behind the place, and every step from there comes nearer to it.
fn time_until(one_s: f64, other_s: f64, far: f64) -> f64 {
    let (long, short) = (one_s.max(other_s), one_s.min(other_s));
    if short == 0.0 {
        return long * far;
    }
    let apart = 1.0 / short - 1.0 / long;
    let mut time = long * far + (2.0 * long * short * far).sqrt();
    for _ in 0..100 {
        // What is left is e^(−t/long)(1 + t/long (1 − e^(−z))/z).
        let z = time * apart;
        let mean = if z > 1e-12 { -libm::expm1(-z) / z } else { 1.0 };
        let share = time / long * mean;
        let missing = libm::log1p(share) - time / long + far;
        let next = time + missing * (1.0 + share) * short / share;
        let near = (next - time).abs() <= NEAR * next;
        time = next;
        if near {
            break;
        }
    }
    time
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAR: Loop = Loop { voltage_v: 831.6, resistance_ohm: 0.2202, inductance_henry: 6e-6 };

    #[test]
    fn small_and_large_times_meet_and_the_inverse_comes_back() {
        for before in [-300.0, 0.0, 200.0, 3776.0, 9000.0] {
            // The two forms of the integral meet where they change over, at g = 0.1.
            let change = -CAR.time_constant_s() * libm::log1p(-0.1);
            let (below, above) =
                (CAR.let_through_a2s(before, change * 0.999_999), CAR.let_through_a2s(before, change * 1.000_001));
            assert!(below <= above && (above - below) <= 1e-4 * above, "{before}: {below} {above}");
            for a2s in [1e-6, 1.0, 1e3, 180e3, 1e9] {
                let time = CAR.time_for_s(before, a2s).expect("reached");
                assert!((CAR.let_through_a2s(before, time) / a2s - 1.0).abs() < 1e-12, "{before} {a2s}");
            }
        }
        // The first terms of the series: (V/L)² t³/3.
        let tiny = 1e-12;
        let slope = CAR.voltage_v / CAR.inductance_henry;
        assert!((CAR.let_through_a2s(0.0, tiny) / (slope * slope * tiny * tiny * tiny / 3.0) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_filter_on_a_step_delays_by_its_logarithm_and_on_equal_time_constants_stays_finite() {
        let step = Loop { inductance_henry: 0.0, ..CAR };
        let (i0, th, tau) = (200.0, 1800.0, 10e-6);
        let last = step.prospective_a();
        let expected = tau * ((last - i0) / (last - th)).ln();
        let found = step.filtered_time_to_s(i0, th, tau).expect("reached");
        assert!((found / expected - 1.0).abs() < 1e-12);
        assert_eq!(step.time_to_s(i0, th), Some(0.0));
        // τ_f = τ: y = I_f + (I_0 − I_f) e^(−t/τ)(1 + t/τ).
        let equal = CAR.time_constant_s();
        let t = CAR.filtered_time_to_s(i0, th, equal).expect("reached");
        let y = last + (i0 - last) * (-t / equal).exp() * (1.0 + t / equal);
        assert!((y / th - 1.0).abs() < 1e-12);
        let near = CAR.filtered_time_to_s(i0, th, equal * (1.0 + 1e-9)).expect("reached");
        assert!((near / t - 1.0).abs() < 1e-8);
    }

    /// The reading itself, by its formula, at the time that is told.
    #[test]
    fn whatever_the_lags_and_the_threshold_the_reading_is_there_when_it_is_told() {
        for (filter, inductance) in [(1e-9, 6e-6), (1e-6, 6e-6), (20e-6, 6e-6), (3e-3, 6e-6), (1e-3, 0.0), (5e-5, 3e-3)]
        {
            let one = Loop { inductance_henry: inductance, ..CAR };
            let (last, tau) = (one.prospective_a(), one.time_constant_s());
            for before in [-500.0, 0.0, 200.0] {
                for share in [1e-3, 0.1, 0.5, 0.9, 1.0 - 1e-6] {
                    let threshold = before + share * (last - before);
                    let time = one.filtered_time_to_s(before, threshold, filter).expect("reached");
                    let left = (tau * (-time / tau).exp() - filter * (-time / filter).exp()) / (tau - filter);
                    let left = if tau == 0.0 { (-time / filter).exp() } else { left };
                    let missing = left - (1.0 - share);
                    assert!(missing.abs() < 1e-12, "{filter} {inductance} {before} {share}: {missing}");
                }
            }
        }
    }

    #[test]
    fn a_threshold_at_or_above_the_prospective_current_is_never_reached() {
        assert_eq!(CAR.time_to_s(0.0, CAR.prospective_a()), None);
        assert_eq!(CAR.filtered_time_to_s(0.0, 5000.0, 1e-6), None);
        assert_eq!(CAR.time_to_s(2000.0, 1800.0), Some(0.0));
    }
}
