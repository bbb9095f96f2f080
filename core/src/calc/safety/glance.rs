//! # What each check alone sees of a mode, and where a mode stands worst
//!
//! For a reader: a mode against every check that counts for it, and the one deviation that is handled last. What counts in
//! the metrics is worked out elsewhere, from all checks together.
//!
//! ```text
//! Seen       of the dangerous deviations all (sure), those from a size on (in part), none in time (too late), none
//! Worst      of the dangerous deviations one that nobody sees in time, the largest; else the one that is handled last
//! Valid      deviations at even places of the distribution of the magnitude; every state must do
//! Source     follows from the definitions of coverage and detection
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::coverage::Covered;
use super::watch::{Asked, Watch};

/// Places of a distribution at which the worst is looked for.
const PLACES: usize = 32;
/// Less weight than this is rounding.
const NOTHING: f64 = 1e-9;

/// How much a check alone sees of what a mode makes dangerous.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SafetySees {
    /// All of it, in time.
    Sure,
    /// What is larger than a size.
    InPart,
    /// Nothing in time.
    TooLate,
    /// Nothing.
    No,
}

/// A check and a mode.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SafetyGlance {
    /// The check.
    pub check: String,
    /// How much it sees.
    pub sees: SafetySees,
    /// From which size on; left out where all or nothing is seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<f64>,
}

/// The deviation of a mode that is handled last.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SafetyWorst {
    /// The deviation.
    pub deviation: f64,
    /// From the fault to the alarm at the latest, s; left out where no check sees it in time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
    /// The check that alarms first; left out where none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen_by: Option<String>,
}

/// What a check alone sees in one state, by its place; nothing where nothing is dangerous.
pub(super) fn glance(of_all: &Covered, asked: Asked, place: usize, name: &str, watch: &Watch) -> Option<SafetyGlance> {
    let (dangerous, own) = (of_all.dangerous, of_all.each[place]);
    if dangerous <= NOTHING {
        return None;
    }
    let told = |sees, from| Some(SafetyGlance { check: name.to_owned(), sees, from });
    if own.in_time >= dangerous - NOTHING {
        return told(SafetySees::Sure, None);
    }
    if own.in_time > NOTHING {
        // What looks at something else tells no size of a deviation.
        let sides = [0, 1].into_iter().filter(|side| asked.minds[*side] && watch.of.is_none());
        let from = sides.filter_map(|side| watch.seeing.from[side]).reduce(f64::max);
        return told(SafetySees::InPart, from);
    }
    told(if own.at_last { SafetySees::TooLate } else { SafetySees::No }, None)
}

/// The worse of two states.
pub(super) fn worse_glance(one: SafetyGlance, other: &SafetyGlance) -> SafetyGlance {
    let from = one.from.into_iter().chain(other.from).reduce(f64::max);
    let sees = one.sees.max(other.sees);
    SafetyGlance { sees, from: from.filter(|_| sees == SafetySees::InPart), ..one }
}

/// Where a mode stands worst in one state; nothing where nothing is dangerous.
pub(super) fn worst(deviations: &[f64], asked: Asked, names: &[&str], watches: &[Watch]) -> Option<SafetyWorst> {
    let stride = deviations.len().div_ceil(PLACES).max(1);
    let places = (0..deviations.len()).step_by(stride).chain(deviations.len().checked_sub(1));
    let dangerous = places.filter(|place| asked.violated(deviations[*place]));
    dangerous.map(|place| handled(deviations, place, names, watches)).reduce(later)
}

fn handled(deviations: &[f64], place: usize, names: &[&str], watches: &[Watch]) -> SafetyWorst {
    let soonest = names.iter().zip(watches).filter_map(|(name, watch)| {
        let value = watch.values(deviations)[place];
        (watch.acts && watch.seeing.sees(value)).then(|| (watch.seeing.sight.latest_s(value.abs(), value > 0.0), *name))
    });
    let first = soonest.reduce(|one, other| if other.0 < one.0 { other } else { one });
    let (time_s, seen_by) = first.map_or((None, None), |(time, name)| (Some(time), Some(name.to_owned())));
    SafetyWorst { deviation: deviations[place], time_s, seen_by }
}

/// The one of two that is handled later; of two that nobody handles the larger.
pub(super) fn later(one: SafetyWorst, other: SafetyWorst) -> SafetyWorst {
    let order = |worst: &SafetyWorst| (worst.time_s.unwrap_or(f64::INFINITY), worst.deviation.abs());
    if order(&other) > order(&one) { other } else { one }
}

#[cfg(test)]
mod tests {
    use super::super::coverage::covered;
    use super::super::detection::Sight;
    use super::super::watch::Seeing;
    use super::*;

    fn check(limit: f64, within_s: f64) -> Watch<'static> {
        let sight = Sight {
            limits: [limit; 2],
            errors: [0.0; 2],
            known: [0.0; 2],
            noise: Some(0.0),
            z: 0.0,
            once: false,
            spread: 1.0,
            averaging_s: 0.0,
            low_pass_s: 0.0,
            slow_s: 0.0,
            grows: f64::INFINITY,
            interval_s: 0.1,
            in_a_row: 1,
            processing_s: 0.0,
        };
        Watch { seeing: Seeing::of(sight, within_s, None), of: None, acts: true, signals: false, lost_with: 0 }
    }

    /// Closed form: −10 to −4 with harm from 3 on, only downwards; a check sees what is larger than its limit after 0.1 s.
    #[test]
    fn a_check_sees_all_a_part_nothing_in_time_or_nothing() {
        let asked = Asked { harm: 3.0, minds: [true, false], within_s: 1.0, by_probability: false };
        let spread = [-10.0, -4.0];
        let of = |spread: &[f64], check: Watch| glance(&covered(spread, asked, &[check]), asked, 0, "A", &check);
        let seen = |check: Watch| of(&spread, check).map(|one| (one.sees, one.from));
        assert_eq!(seen(check(3.5, 1.0)), Some((SafetySees::Sure, None)));
        assert_eq!(seen(check(6.0, 1.0)), Some((SafetySees::InPart, Some(6.0))));
        assert_eq!(seen(check(6.0, 0.05)), Some((SafetySees::TooLate, None)));
        assert_eq!(seen(check(12.0, 1.0)), Some((SafetySees::No, None)));
        assert_eq!(of(&[2.0, 20.0], check(6.0, 1.0)), None);
        let last = |limit: f64| worst(&spread, asked, &["A"], &[check(limit, 1.0)]).expect("dangerous");
        assert_eq!(last(3.5).seen_by.as_deref(), Some("A"));
        // Of both places the check misses −4.
        assert_eq!((last(6.0).deviation, last(6.0).time_s), (-4.0, None));
    }
}
