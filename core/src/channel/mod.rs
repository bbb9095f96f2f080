//! # What the channels share
//!
//! A channel turns a pack quantity into a reading. How much error is allowed, what takes most of it and which single
//! limit would mend it is said alike for every channel.
//!
//! ```text
//! Formula    sum: A = g |x| + o;  full scale: A = g X_fs;  larger: A = max(g |x|, o)
//! Symbols    A [unit of x] allowed error, g [1] gain part, o [unit of x] fixed part, x reading, X_fs full scale
//! Valid      only together with temperature range, life and method: the channel's page names them beside every figure
//! Source     common practice, no source
//! ```

pub mod budget;
pub mod calibrated;
pub mod chain;
pub mod corners;
pub mod counted;
pub mod full;
pub mod map;
pub mod required;
pub mod screen;
pub mod search;
pub mod telling;
pub mod worst;

use crate::field::{defaulted, optional, whole};
use crate::input;
use crate::judge::Verdict;
use crate::physics::front_end::CalibrationKind;
use crate::propagation::Assessment;
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::worked::{Put, Term};
use crate::report::{Lane, Stage, Step};
use crate::work::{Halt, Work};
use budget::{Output, size};
use chain::Around;
use counted::Counted;

/// What other parts of a design ask a channel: numbers, by worst case, at end of life, as it is calibrated.
pub trait Channel {
    /// The largest error at each reading, in the unit of the reading; nothing where it is not defined.
    ///
    /// # Errors
    /// The work was stopped.
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt>;

    /// The largest reading; nothing where nothing bounds it.
    fn full_at(&self) -> Option<f64>;

    /// The smallest reading; nothing where nothing bounds it.
    fn reads_from(&self) -> Option<f64> {
        None
    }

    /// All that its errors leave out because nobody gave it.
    fn all_missing(&self) -> Vec<&'static str> {
        Vec::new()
    }

    /// The first of it.
    fn missing(&self) -> Option<&'static str> {
        self.all_missing().first().copied()
    }

    /// Whether the channel is taken to stand at its end when it is full, with the error it has there.
    fn stands(&self) -> bool {
        false
    }

    /// What a count of its readings has to know; nothing where the error is not defined.
    ///
    /// # Errors
    /// The work was stopped.
    fn counted(&self, _work: Work) -> Result<Option<Counted>, Halt> {
        Ok(None)
    }

    /// The size of the largest reading below zero, 0 of a channel that reads one direction; nothing where nothing bounds it.
    fn full_below(&self) -> Option<f64> {
        None
    }
}

crate::choice! {
    /// How a requirement is written.
    pub enum Allowance {
        Sum = "sum", "Part of reading plus fixed part";
        FullScale = "full-scale", "Part of full scale";
        Larger = "larger", "The larger of both parts";
    }
}

impl Allowance {
    /// The allowed error; nothing when neither part is given, or when the part that the form needs is not.
    pub fn allowed(self, part_percent: Option<f64>, fixed: Option<f64>, reading: f64, full_scale: f64) -> Option<f64> {
        let part_of = |base: f64| part_percent.map(|part| part / 100.0 * base.abs());
        match (self, part_of(reading), fixed) {
            (_, None, None) => None,
            (Self::Sum, part, fixed) => Some(part.unwrap_or(0.0) + fixed.unwrap_or(0.0)),
            (Self::FullScale, ..) => part_of(full_scale),
            (Self::Larger, part, fixed) => Some(part.unwrap_or(0.0).max(fixed.unwrap_or(0.0))),
        }
    }

    /// The step of the working that leads to the allowed error at a reading.
    pub fn step(
        self,
        part_percent: Option<f64>,
        fixed: Option<f64>,
        at: Quantity,
        full_scale: f64,
        allowed: f64,
    ) -> Step {
        let unit = at.unit;
        let [part, fixed, full, allowed] = [
            Quantity::new(part_percent.unwrap_or(0.0), Unit::Percent),
            Quantity::new(fixed.unwrap_or(0.0), unit),
            Quantity::new(full_scale, unit),
            Quantity::new(allowed, unit),
        ];
        let (label, source) = (format!("Allowed at {at}"), "the requirement as entered");
        let formula = match self {
            Self::Sum => "g |x| + o",
            Self::FullScale => "g X_fs",
            Self::Larger => "max(g |x|, o)",
        };
        let of_reading = |p: &Put| p.of(part) * if at.value < 0.0 { p.of(at).abs() } else { p.of(at) };
        Step::worked(&label, "A", formula, allowed, source, |p| match self {
            Self::Sum => of_reading(p) + p.of(fixed),
            Self::FullScale => p.of(part) * p.of(full),
            Self::Larger => Term::largest(&[of_reading(p), p.of(fixed)]),
        })
    }
}

crate::choice! {
    /// How a requirement is judged.
    pub enum JudgedBy {
        WorstCase = "worst-case", "Worst case";
        RootSumSquare = "root-sum-square", "Root-sum-square of the limits";
        Probability95 = "probability-95", "95 % coverage interval (Monte Carlo)";
    }
}

crate::choice! {
    /// Which noise the errors that are judged hold.
    pub enum NoiseCounted {
        None = "none", "None: it is averaged away";
        Mean = "mean", "Of the averaged reading";
        Single = "single", "Of a single reading";
    }
}

crate::choice! {
    /// In which state a chain is calibrated.
    pub enum Heated {
        Pulsed = "pulsed", "Pulsed: everything at ambient temperature";
        Settled = "settled", "Settled: heated by what is applied";
    }
}

input! {
    /// How a calibration is done.
    pub struct Bench {
        heated: Heated = Heated::Pulsed.chosen(), "", "Readings are taken", "What a heated element leaves when it is cold again is part of the error; its joints are taken to be at one temperature.";
        tolerance_k: f64 = defaulted(Unit::Kelvin, 0.0, 50.0, 0.0).like(2.0), "", "Calibration temperature within", "Half-width.";
        independent_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.0).like(0.02), "", "Calibrator, each point on its own", "Of the value, half-width; what all points share stands with the calibration.";
        readings: u32 = whole(Unit::One, 1, 1_000_000, 1), "", "Averaged readings at a point", "Sixteen with noise above half a step round nothing.";
        nonlinearity_slope_ppm: Option<f64> = optional(Unit::Ppm, 0.0, 1e6), "", "Largest slope of the non-linearity", "Leave empty when only its limit is known.";
        interval_years: Option<f64> = optional(Unit::Year, 1e-2, 100.0), "", "Calibrated again after", "Ageing then counts over this time only.";
    }
}

impl Bench {
    /// Share of the ageing over life that counts: of a calibrated reading that since the last calibration; where nothing is
    /// calibrated, and where the chain is full, all of it.
    pub fn aged(&self, around: &Around, kind: CalibrationKind, life_years: Option<f64>) -> f64 {
        let since = around.calibrated && kind != CalibrationKind::None;
        match self.interval_years.zip(life_years).filter(|_| since) {
            _ if !around.aged => 0.0,
            Some((interval, life)) => (interval / life).min(1.0),
            None => 1.0,
        }
    }

    /// Whether enough readings are averaged at a point for their noise to round nothing.
    pub const fn averages(&self) -> bool {
        self.readings >= 16
    }

    /// Whether the stored readings are rounded, for a noise and a step of single readings.
    pub fn rounds(&self, noise: f64, step: f64) -> bool {
        !self.averages() || noise <= step / 2.0
    }

    /// Whether its temperature is known to a tolerance only.
    pub const fn varies(&self) -> bool {
        self.tolerance_k > 0.0
    }
}

input! {
    /// The numerical experiment.
    pub struct Experiment {
        trials: u32 = whole(Unit::One, 1_000, 10_000_000, 200_000), "M", "Trials", "Of the Monte Carlo run at each current.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Same seed, same numbers, on every machine.";
    }
}

/// What stands above a stage of a lane: the part's value and the signal at its output.
pub type Described = (String, String);

/// A channel at the point its lane is drawn at.
#[derive(Clone, Copy, Debug)]
pub struct At {
    /// The reading.
    pub reading: Quantity,
    /// The error as it is judged.
    pub judged: f64,
    /// The allowed error.
    pub allowed: Quantity,
}

/// The lane of a channel at one point: the band opens by what every stage adds to the sum of limits, in proportion to the
/// error as it is judged, so that the band passes exactly when the requirement holds.
pub fn lane(done: &Assessment, stages: &[&str], described: Vec<Described>, at: At) -> Lane {
    // What the firmware does is done behind the barrier.
    let behind_barrier = stages.iter().position(|stage| *stage == calibrated::CALIBRATION);
    let stages = budget::stages(done, stages);
    let sum: f64 = stages.iter().map(|(_, sum)| sum).sum();
    let scale = if at.allowed.value > 0.0 && sum > 0.0 { at.judged / sum / at.allowed.value * 100.0 } else { 0.0 };
    Lane {
        id: "lane".into(),
        caption: format!(
            "The band opens by what every stage adds at {}. Its end is the error as it is judged; it must pass the bracket, the allowance.",
            say(at.reading.value, at.reading.unit)
        ),
        stages: stages
            .into_iter()
            .zip(described)
            .map(|((label, sum), (part, signal))| Stage { label, part, signal, takes_percent: sum * scale })
            .collect(),
        behind_barrier,
        allowed: format!("±{}", say(at.allowed.value, at.allowed.unit)),
        reached: format!("±{}", say(at.judged, at.allowed.unit)),
        verdict: Verdict::of(Some(at.judged / at.allowed.value.max(f64::MIN_POSITIVE) * 100.0)),
    }
}

/// A limit in its own unit.
pub fn limit_said(unit: &str, limit: f64) -> String {
    match unit {
        "V" => say(limit, Unit::Volt),
        "A" => say(limit, Unit::Ampere),
        "V/K" => say(limit, Unit::VoltPerKelvin),
        "1/K" => say(limit * 1e6, Unit::PpmPerKelvin),
        _ => say(limit * 100.0, Unit::Percent),
    }
}

/// The largest part of an error budget in words.
pub fn largest_words(done: &Assessment, unit: Unit) -> Option<String> {
    let amount = |term| size(term, Output::Error);
    let term = done.contributions.iter().max_by(|a, b| amount(a).total_cmp(&amount(b)))?;
    (amount(term) > 0.0).then(|| format!("{} ({})", in_sentence(&term.label), say(amount(term), unit)))
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod allowance {
    use super::*;

    /// Closed form: the three ways a requirement is written, and the crossover of part and fixed amount at o/g.
    #[test]
    fn an_allowance_is_read_as_it_is_written() {
        let allowed = |form: Allowance, x| form.allowed(Some(1.0), Some(0.5), x, 1000.0);
        assert_eq!(allowed(Allowance::Sum, 100.0), Some(1.5));
        assert_eq!(allowed(Allowance::FullScale, 100.0), Some(10.0));
        assert_eq!(allowed(Allowance::Larger, 49.0), Some(0.5));
        assert_eq!(allowed(Allowance::Larger, 100.0), Some(1.0));
        assert_eq!(Allowance::Sum.allowed(None, None, 5.0, 10.0), None);
        assert_eq!(Allowance::FullScale.allowed(None, Some(1.0), 5.0, 10.0), None);
        assert_eq!(Allowance::Larger.allowed(None, Some(1.0), 5.0, 10.0), Some(1.0));
    }
}
