//! # The divider as a network
//!
//! Two resistors and a load: ratio, source resistance and what any change of a part does to the ratio, exactly.
//!
//! ```text
//! Formula    k = Rp/(Ru + Rp), Rp = Rl ∥ Rload;  ∂ln k/∂ln Ru = −(1 − k);  ∂ln k/∂ln Rl = (1 − k) Rload/(Rl + Rload)
//!            string of n with limit t and correlation r: worst case t, root-sum-square t √((1 + (n − 1) r)/n)
//! Symbols    Ru upper string, Rl lower, Rload what follows [Ω]
//! Valid      linear load; leakage as a resistance
//! Source     Ohm's law; JCGM 100:2008 clause 5.2.2 (correlated inputs)
//! ```

use crate::propagation::Number;

/// The share of a voltage that is left below an upper resistance [Ω] across a conductance [S].
#[inline]
pub fn divided<N: Number>(upper_ohm: N, lower_siemens: N) -> N {
    N::from(1.0) / (upper_ohm * lower_siemens + 1.0)
}

/// A resistance across another one; an infinite one changes nothing.
pub fn parallel(a: f64, b: f64) -> f64 {
    if b.is_infinite() { a } else { a / (1.0 + a / b) }
}

/// Upper string, lower string and load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Network {
    /// Upper string, Ω.
    pub upper_ohm: f64,
    /// Lower string, Ω.
    pub lower_ohm: f64,
    /// Input resistance of what follows, Ω; infinite without one.
    pub load_ohm: f64,
}

impl Network {
    /// The lower string with the load across it, Ω.
    pub fn lower_loaded_ohm(self) -> f64 {
        parallel(self.lower_ohm, self.load_ohm)
    }

    /// The ratio with the load.
    pub fn ratio(self) -> f64 {
        let lower = self.lower_loaded_ohm();
        lower / (self.upper_ohm + lower)
    }

    /// The same network without the load.
    #[must_use]
    pub const fn unloaded(self) -> Self {
        Self { load_ohm: f64::INFINITY, ..self }
    }

    /// Source resistance seen by what follows, without its own load, Ω.
    pub fn source_ohm(self) -> f64 {
        parallel(self.upper_ohm, self.lower_ohm)
    }

    /// Source resistance with the load across it: what the filter capacitor sees, Ω.
    pub fn source_loaded_ohm(self) -> f64 {
        parallel(self.source_ohm(), self.load_ohm)
    }

    /// Relative sensitivity of the ratio to the upper string: −(1 − k).
    pub fn to_upper(self) -> f64 {
        self.ratio() - 1.0
    }

    /// Relative sensitivity of the ratio to the lower string.
    pub fn to_lower(self) -> f64 {
        let share = if self.load_ohm.is_infinite() { 1.0 } else { 1.0 / (1.0 + self.lower_ohm / self.load_ohm) };
        (1.0 - self.ratio()) * share
    }

    /// Change of the ratio by the load, relative: −Rs/(Rs + Rload).
    pub fn loading(self) -> f64 {
        loading(self.source_ohm(), self.load_ohm)
    }

    /// The ratio against the nominal one, − 1, when both strings are off by relative amounts. Exact.
    pub fn ratio_error(self, upper: f64, lower: f64) -> f64 {
        // k'/k − 1 = (1 − k)(b' − u)/(1 + u − k (u − b')), b' the change of the loaded lower part: no digits are lost.
        let part = self.lower_loaded_ohm();
        let moved = parallel(self.lower_ohm * (1.0 + lower), self.load_ohm);
        let lower = (moved - part) / part;
        let k = self.ratio();
        (1.0 - k) * (lower - upper) / (1.0 + upper - k * (upper - lower))
    }

    /// The ratio error of a leakage across the whole upper string. Exact.
    pub fn leakage_over_string(self, leakage_ohm: f64) -> f64 {
        self.ratio_error(parallel(self.upper_ohm, leakage_ohm) / self.upper_ohm - 1.0, 0.0)
    }

    /// The ratio error of the same leakage across one of `count` elements: about count² times smaller. Exact.
    pub fn leakage_over_element(self, count: f64, leakage_ohm: f64) -> f64 {
        let element = self.upper_ohm / count;
        // One element loses R²/(R + Rleak).
        let lost = element / (1.0 + leakage_ohm / element);
        self.ratio_error(-lost / self.upper_ohm, 0.0)
    }

    /// The smallest leakage resistance across the whole upper string that moves the ratio by no more than `budget`; none
    /// when even a short does not.
    pub fn smallest_leakage_ohm(self, budget: f64) -> Option<f64> {
        self.upper_lost(budget).filter(|lost| *lost < 1.0).map(|lost| self.upper_ohm * (1.0 - lost) / lost)
    }

    /// The same across one of `count` elements.
    pub fn smallest_element_leakage_ohm(self, count: f64, budget: f64) -> Option<f64> {
        let element = self.upper_ohm / count;
        self.upper_lost(budget)
            .map(|lost| lost * count)
            .filter(|lost| *lost < 1.0)
            .map(|lost| element * (1.0 - lost) / lost)
    }

    /// The share of the upper string that may go for the ratio to rise by `budget`: from ratio_error(−x, 0) = budget.
    fn upper_lost(self, budget: f64) -> Option<f64> {
        let k = self.ratio();
        Some(budget / ((1.0 - k) * (1.0 + budget))).filter(|lost| lost.is_finite() && *lost > 0.0)
    }
}

/// Loading of a source resistance by a load, relative.
pub fn loading(source_ohm: f64, load_ohm: f64) -> f64 {
    if load_ohm.is_infinite() { 0.0 } else { -source_ohm / (source_ohm + load_ohm) }
}

/// Root-sum-square of the limits of n equal elements in series, relative to the string, when any two have correlation r.
pub fn string_limit(limit: f64, count: f64, correlation: f64) -> f64 {
    limit * ((1.0 + (count - 1.0) * correlation) / count).sqrt()
}

/// The share f of each element's limit that is common to all, chosen so that the string has the root-sum-square of
/// [`string_limit`] while the worst case stays the full limit: f² + (1 − f)²/n = (1 + (n − 1) r)/n.
pub fn common_share(count: f64, correlation: f64) -> f64 {
    if correlation <= 0.0 || count <= 1.0 {
        return if count <= 1.0 { 1.0 } else { 0.0 };
    }
    (1.0 + (1.0 + (count * count - 1.0) * correlation).sqrt()) / (count + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, expected: f64, relative: f64) {
        assert!((value - expected).abs() <= relative * expected.abs(), "{value} is not {expected}");
    }

    const NET: Network = Network { upper_ohm: 4.08e6, lower_ohm: 8060.0, load_ohm: 10e6 };

    #[test]
    fn the_exact_error_agrees_with_the_ratio_itself() {
        for (upper, lower) in [(0.01, -0.02), (-0.3, 0.4), (5.0, -0.9), (0.0, 0.001)] {
            let moved =
                Network { upper_ohm: NET.upper_ohm * (1.0 + upper), lower_ohm: NET.lower_ohm * (1.0 + lower), ..NET };
            close(1.0 + NET.ratio_error(upper, lower), moved.ratio() / NET.ratio(), 1e-13);
        }
        let step = 1e-7;
        close(NET.ratio_error(step, 0.0) / step, NET.to_upper(), 1e-6);
        close(NET.ratio_error(0.0, step) / step, NET.to_lower(), 1e-6);
    }

    #[test]
    fn leakage_and_its_limit_are_inverse() {
        for budget in [1e-4, 1e-3, 0.2] {
            let whole = NET.smallest_leakage_ohm(budget).expect("bounded");
            close(NET.leakage_over_string(whole), budget, 1e-9);
        }
        let element = NET.smallest_element_leakage_ohm(6.0, 1e-3).expect("bounded");
        close(NET.leakage_over_element(6.0, element), 1e-3, 1e-9);
        assert_eq!(NET.smallest_element_leakage_ohm(6.0, 0.5), None, "a shorted element moves it by 20 %");
        // n² times smaller to first order.
        close(NET.leakage_over_string(1e12) / NET.leakage_over_element(6.0, 1e12), 36.0, 1e-4);
    }

    #[test]
    fn the_common_share_gives_the_root_sum_square_of_the_string() {
        for count in [1.0, 2.0, 6.0, 60.0] {
            for r in [0.0, 1e-6, 0.3, 0.8, 1.0] {
                let f = common_share(count, r);
                assert!((0.0..=1.0 + 1e-12).contains(&f));
                close((f * f + (1.0 - f).powi(2) / count).sqrt(), string_limit(1.0, count, r), 1e-12);
            }
        }
        close(string_limit(1.0, 6.0, 0.8), 0.9129, 1e-4);
    }
}
