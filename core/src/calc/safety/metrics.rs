//! # Metrics of random hardware failures
//!
//! Of the failure rate of everything that can touch a goal, what violates it alone is residual, what stays hidden until a
//! second failure is latent. The rest is safe, detected or perceived. A covered fault still violates the goal when its check
//! has failed before, or both fail of one cause.
//!
//! ```text
//! Formula    λ_SPF = λ d without a check, λ_RF = λ d (1 − DC), λ_L = λ d DC (1 − q) + λ p (1 − DC_L);
//!            SPFM = 1 − Σ(λ_SPF + λ_RF)/Σλ; LFM = 1 − Σλ_L/Σ(λ − λ_SPF − λ_RF)
//!            PMHF = Σ(λ_SPF + λ_RF) + Σ c λ_j [q/2 + (1 − q)] T_j + λ_cc; T_j = C · interval + (1 − C) · life
//!            λ_cc = β √(λ_j Σc), at most the smaller; c = λ d DC that check j alone covers
//! From 0.01  of λT on: ½cλT is [1 − e^(−cT) − c/(c + λ) (1 − e^(−(c + λ)T))]/T, cλT is (1 − e^(−cT))(1 − e^(−λT))/T
//! Symbols    λ [FIT] rate of a mode, s + d + p = 1 safe, direct, only with a second fault; q signalled; λ_j loss of check j
//! Valid      constant rates; the metrics say nothing about systematic faults
//! Source     ISO 26262-5:2018 annex C (metrics), ISO 26262-10:2018 clause 8.3 (dual-point term; from memory), exact exponentials
//!            derived here; β as in IEC 61508-6 annex D (from memory); √ of both rates: common practice
//! ```

/// A share of less than this is rounding.
const ROUNDED: f64 = 1e-12;
/// Failures an hour of one FIT.
pub const PER_FIT: f64 = 1e-9;
/// From this λT on the product is no good approximation.
const SMALL: f64 = 0.01;

/// The parts of a mode's rate, FIT.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rates {
    /// Of everything.
    pub all: f64,
    /// Harmless.
    pub safe: f64,
    /// Single-point: direct, no check.
    pub single_point: f64,
    /// Residual: direct, not covered.
    pub residual: f64,
    /// Latent.
    pub latent: f64,
}

impl Rates {
    /// What violates the goal alone.
    pub fn violating(&self) -> f64 {
        self.single_point + self.residual
    }

    /// The sum of two.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            all: self.all + other.all,
            safe: self.safe + other.safe,
            single_point: self.single_point + other.single_point,
            residual: self.residual + other.residual,
            latent: self.latent + other.latent,
        }
    }

    /// Single-point fault metric, percent; nothing where there is no rate.
    pub fn spfm_percent(&self) -> Option<f64> {
        part(self.violating(), self.all)
    }

    /// Latent fault metric, percent; nothing where all is residual.
    pub fn lfm_percent(&self) -> Option<f64> {
        part(self.latent, self.all - self.violating())
    }

    /// The same without the safe share.
    #[must_use]
    pub fn without_safe(&self) -> Self {
        Self { all: self.all - self.safe, safe: 0.0, ..*self }
    }
}

/// What is left of a whole, percent.
fn part(lost: f64, whole: f64) -> Option<f64> {
    let left = |share: f64| if share > ROUNDED { 100.0 * share } else { 0.0 };
    (whole > 0.0).then(|| left(1.0 - lost / whole))
}

/// Shares of a mode: parts of 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Harmless.
    pub safe: f64,
    /// Violates the goal alone where no check acts.
    pub direct: f64,
    /// Of the direct share, covered; nothing without a check.
    pub coverage: Option<f64>,
    /// Of what is covered, signalled.
    pub signalled: f64,
    /// Of what takes a second fault, found by a test in time.
    pub tested: f64,
}

impl Shares {
    /// Share that violates the goal only with a second fault.
    pub fn with_another(&self) -> f64 {
        let rest = 1.0 - self.safe - self.direct;
        if rest > ROUNDED { rest } else { 0.0 }
    }

    /// The parts of a rate.
    pub fn of(&self, rate: f64) -> Rates {
        let direct = rate * self.direct;
        let covered = self.coverage.unwrap_or(0.0);
        Rates {
            all: rate,
            safe: rate * self.safe,
            single_point: if self.coverage.is_none() { direct } else { 0.0 },
            residual: if self.coverage.is_some() { direct * (1.0 - covered) } else { 0.0 },
            latent: direct * covered * (1.0 - self.signalled) + rate * self.with_another() * (1.0 - self.tested),
        }
    }
}

/// How long a lost check stays hidden, h.
pub fn hidden_h(test_interval_h: Option<f64>, test_coverage: f64, life_h: f64) -> f64 {
    test_interval_h.map_or(life_h, |interval| test_coverage * interval.min(life_h) + (1.0 - test_coverage) * life_h)
}

/// Rate of a covered fault meeting a lost check, FIT: `covered` and `lost` in FIT, over a time in h.
pub fn dual_fit(covered: f64, lost: f64, signalled: f64, hours: f64) -> f64 {
    let (c, l) = (covered * PER_FIT, lost * PER_FIT);
    let [first, any] = if (c.max(l)) * hours < SMALL {
        [0.5 * c * l * hours, c * l * hours]
    } else {
        // 1 − e^(−x) without losing its digits.
        let fails = |rate: f64| -libm::expm1(-rate * hours);
        [(fails(c) - c / (c + l) * fails(c + l)) / hours, fails(c) * fails(l) / hours]
    };
    (signalled * first + (1.0 - signalled) * any) / PER_FIT
}

/// Rate of both failing of one cause, FIT.
pub fn common_cause_fit(beta: f64, covered: f64, lost: f64) -> f64 {
    (beta * (covered * lost).sqrt()).min(covered.min(lost))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, source: f64, relative: f64) {
        assert!((value - source).abs() <= relative * source.abs(), "{value} is not {source}");
    }

    /// Exponentials integrated by mpmath: a fault of 1e-7 and a check of 5e-8 an hour over 10,000 h; 2e-6 and 4e-6 over 40,000 h.
    #[test]
    fn a_covered_fault_meets_a_lost_check() {
        near(dual_fit(100.0, 50.0, 1.0, 1e4) * PER_FIT, 2.497_917_7e-11, 1e-3);
        near(dual_fit(100.0, 50.0, 0.0, 1e4) * PER_FIT, 4.996_251_7e-11, 1e-3);
        near(dual_fit(2000.0, 4000.0, 1.0, 4e4) * PER_FIT, 1.4399e-7, 1e-4);
        near(dual_fit(2000.0, 4000.0, 0.0, 4e4) * PER_FIT, 2.8419e-7, 1e-4);
    }

    /// Hand arithmetic: 80 FIT covered, 30 FIT of the check, 90 % tested every 12 h over 12,000 h, β of 3 %.
    #[test]
    fn a_tested_check_and_a_common_cause() {
        near(hidden_h(Some(12.0), 0.9, 12_000.0), 1210.8, 1e-12);
        near(dual_fit(80.0, 30.0, 1.0, 1210.8) * PER_FIT, 1.4530e-12, 1e-4);
        near(common_cause_fit(0.03, 80.0, 30.0) * PER_FIT, 1.4697e-9, 1e-4);
        near(common_cause_fit(0.5, 1.0, 1e4), 1.0, 1e-12);
    }
}
