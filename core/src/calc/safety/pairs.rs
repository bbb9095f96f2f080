//! # Two faults
//!
//! What no single fault does two may do: a fault that a check covers meets the loss of that check, or a deviation that neither
//! harms nor is noticed meets another one, and both together harm and are not seen in time: they add up, or the first hides a
//! part of the second. A pair violates unnoticed where nobody is told before the second fault.
//!
//! ```text
//! Pairs      covered mode and loss of the check that alone covers it: unnoticed where a loss stays longer than the multi-point
//!            interval, or where nobody is told of the mode; two modes of different components: 1 ≤ q + s < d, q any part of
//!            what harms that the first does unnoticed, s any of the second that alone does no harm or is seen in time, d from
//!            which part on the second's checks see in time
//! Rates      as of a covered fault and a lost check (`metrics`); of two modes in any order over the life
//! Valid      deviations in one chain add up to first order; a component fails in one mode; at most so many pairs, by rate
//! Source     ISO 26262-5:2018, 7.4.3 and annex C (multiple-point faults); sums of limits: common practice, no source
//! ```

use super::coverage::Beside;
use super::metrics::dual_fit;

/// A part of what harms by which a deviation misses it that does no harm.
const ROUNDED: f64 = 1e-9;
/// Pairs that are followed for a goal.
const MOST: usize = 2000;

/// A mode of a goal as one of two.
pub(super) struct One {
    /// What fails: of one component there is one mode.
    pub component: String,
    /// Component and mode in words.
    pub words: String,
    /// Rate of the mode, FIT.
    pub rate_fit: f64,
    /// Of each check by its place, what it alone covers, FIT.
    pub alone: Vec<(usize, f64)>,
    /// Share of the covered that somebody is told of.
    pub signalled: f64,
    /// What it does as one of two, counted towards what harms.
    pub beside: Beside,
}

/// A check as one of two.
pub(super) struct Lost {
    /// Its name.
    pub name: String,
    /// Rate of its loss, FIT; nothing where it is not known.
    pub loss_fit: Option<f64>,
    /// How long a loss stays hidden, weighted, h.
    pub hidden_h: f64,
    /// Whether a test finds it within the multi-point interval.
    pub found: bool,
}

/// Two faults that violate a goal together.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pair {
    /// The first.
    pub first: String,
    /// The second.
    pub second: String,
    /// Rate of both, FIT; nothing where one is not known.
    pub rate_fit: Option<f64>,
    /// Whether nobody is told before the second.
    pub unnoticed: bool,
}

/// The pairs of a goal that violate it.
#[derive(Default)]
pub(super) struct Pairs {
    /// The most frequent first; those of unknown rate before all.
    pub pairs: Vec<Pair>,
    /// How many were not followed.
    pub left_out: usize,
}

/// A pair before its words.
struct Candidate {
    rate_fit: Option<f64>,
    mode: usize,
    with: With,
}

enum With {
    Loss(usize),
    Mode(usize),
}

/// All pairs of modes and checks that violate a goal: the most frequent are followed.
pub(super) fn pairs(modes: &[One], checks: &[Lost], life_h: f64, both_sides: bool) -> Pairs {
    let mut candidates = Vec::new();
    for (at, mode) in modes.iter().enumerate() {
        for (check, covered) in mode.alone.iter().filter(|(_, covered)| *covered > 0.0) {
            let lost = &checks[*check];
            let rate_fit = lost.loss_fit.map(|loss| dual_fit(*covered, loss, mode.signalled, lost.hidden_h));
            candidates.push(Candidate { rate_fit, mode: at, with: With::Loss(*check) });
        }
        for (beside, other) in modes.iter().enumerate().skip(at + 1) {
            if other.component != mode.component && harm_together(mode, other, both_sides) {
                let rate_fit = Some(dual_fit(mode.rate_fit, other.rate_fit, 0.0, life_h));
                candidates.push(Candidate { rate_fit, mode: at, with: With::Mode(beside) });
            }
        }
    }
    let order = |one: &Candidate| one.rate_fit.unwrap_or(f64::INFINITY);
    candidates.sort_by(|one, other| order(other).total_cmp(&order(one)));
    let left_out = candidates.len().saturating_sub(MOST);
    candidates.truncate(MOST);
    let pairs = candidates.into_iter().map(|Candidate { rate_fit, mode, with }| {
        let first = modes[mode].words.clone();
        match with {
            With::Loss(check) => {
                let unnoticed = !checks[check].found || modes[mode].signalled < 1.0;
                Pair { first, second: format!("loss of {}", checks[check].name), rate_fit, unnoticed }
            }
            With::Mode(other) => Pair { first, second: modes[other].words.clone(), rate_fit, unnoticed: true },
        }
    });
    Pairs { pairs: pairs.collect(), left_out }
}

/// Whether two modes harm together, one after the other, although the second alone does no harm or is seen in time.
fn harm_together(one: &One, other: &One, both_sides: bool) -> bool {
    let directions: &[bool] = if both_sides { &[false, true] } else { &[false] };
    let after = |first: &One, second: &One| {
        directions.iter().any(|turns| comes_to_harm(first.beside.turned(*turns), second.beside.turned(*turns)))
    };
    after(one, other) || after(other, one)
}

/// The same for what lies upwards, the first before the second.
fn comes_to_harm(first: Beside, second: Beside) -> bool {
    let (Some(quiet), Some([low, high])) = (first.quiet, second.spans) else { return false };
    let seen = second.seen[1].unwrap_or(f64::INFINITY);
    // What harms alone and is not seen in time is a single fault's.
    let alone = [[low, high.min(1.0 - ROUNDED)], [low.max(seen), high]];
    alone.iter().filter(|[from, to]| from <= to).any(|[from, to]| {
        let [from, to] = [quiet[0] + from, quiet[1] + to];
        to >= 1.0 && from < seen && seen > 1.0
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mode from nothing up to a part of what harms that nobody sees below another part.
    fn one(component: &str, alone: &[(usize, f64)], signalled: f64, most: f64, seen: Option<f64>) -> One {
        let quiet = [0.0, most.min(1.0).min(seen.unwrap_or(1.0))];
        let beside = Beside { quiet: Some(quiet), spans: Some([0.0, most]), seen: [None, seen] };
        One {
            component: component.into(),
            words: component.into(),
            rate_fit: 10.0,
            alone: alone.to_vec(),
            signalled,
            beside,
        }
    }

    /// By hand: 0.6 and 0.5 of what harms make it, in one component they do not; a covered mode and its check are noticed where
    /// a test finds the loss and somebody is told of the mode.
    #[test]
    fn what_adds_up_and_what_is_noticed() {
        let modes = [one("A", &[], 1.0, 0.6, None), one("B", &[], 1.0, 0.5, None), one("A", &[], 1.0, 0.7, None)];
        let found = pairs(&modes, &[], 1e4, false);
        let names: Vec<[&str; 2]> =
            found.pairs.iter().map(|pair| [pair.first.as_str(), pair.second.as_str()]).collect();
        assert_eq!(names, [["A", "B"], ["B", "A"]]);
        assert!((found.pairs[0].rate_fit.expect("known") - 10.0 * 10.0 * 1e-9 * 1e4).abs() < 1e-9);
        let lost = |found| [Lost { name: "C".into(), loss_fit: Some(5.0), hidden_h: 10.0, found }];
        for (signalled, tested, unnoticed) in [(1.0, true, false), (0.9, true, true), (1.0, false, true)] {
            let done = pairs(&[one("A", &[(0, 8.0)], signalled, 0.0, None)], &lost(tested), 1e4, false);
            assert_eq!((done.pairs.len(), done.pairs[0].unnoticed), (1, unnoticed));
        }
    }

    /// By hand, in parts of what harms: −0.8 hides of 3 so much that 2.2 are left, harmful and below the 2.5 that are seen; of
    /// two that are seen from 1 on nothing is left; a sum that is seen in time is none; a second one that alone harms unseen is
    /// a single fault; where only the second is looked at, and late, the sum is not seen.
    #[test]
    fn a_first_fault_adds_to_a_second_or_hides_it() {
        let at = |value: f64, quiet: bool, seen: Option<f64>| Beside {
            quiet: quiet.then_some([value; 2]),
            spans: Some([value; 2]),
            seen: [seen; 2],
        };
        assert!(comes_to_harm(at(-0.8, true, Some(2.5)), at(3.0, false, Some(2.5))));
        assert!(!comes_to_harm(at(-0.8, true, Some(1.0)), at(3.0, false, Some(1.0))));
        assert!(!comes_to_harm(at(0.7, true, Some(1.3)), at(0.8, true, Some(1.3))));
        assert!(comes_to_harm(at(0.7, true, None), at(0.8, true, None)));
        assert!(!comes_to_harm(at(0.1, true, None), at(1.5, false, None)));
        assert!(!comes_to_harm(at(0.5, false, None), at(0.8, false, None)));
    }

    /// Of a hundred modes that add up in pairs 4,950 violate: 2,000 are followed, and the rest is said.
    #[test]
    fn pairs_are_bounded() {
        let names: Vec<String> = (0..100).map(|place| format!("Part {place}")).collect();
        let modes: Vec<One> = names.iter().map(|name| one(name, &[], 1.0, 0.5, None)).collect();
        let found = pairs(&modes, &[], 1e4, false);
        assert_eq!((found.pairs.len(), found.left_out), (2000, 2950));
    }
}
