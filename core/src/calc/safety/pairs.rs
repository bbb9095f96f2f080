//! # Two faults
//!
//! What no single fault does two may do: a fault that a check covers meets the loss of that check, or two deviations that are
//! each too small to harm and to be seen add up. A pair violates unnoticed where nobody is told before the second fault.
//!
//! ```text
//! Pairs      covered mode and loss of the check that alone covers it: unnoticed where a loss stays longer than the multi-point
//!            interval, or where nobody is told of the mode; two modes of different components: unnoticed where the largest
//!            parts that neither harm nor are seen add up to what harms, q_i/h_i + q_j/h_j ≥ 1
//! Rates      as of a covered fault and a lost check (`metrics`); of two modes in any order over the life
//! Valid      deviations in one chain add up to first order; a component fails in one mode; at most so many pairs, by rate
//! Source     ISO 26262-5:2018, 7.4.3 and annex C (multiple-point faults); sums of limits: common practice, no source
//! ```

use super::metrics::dual_fit;

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
    /// Downwards and upwards, the largest part of what harms that neither harms nor is seen.
    pub quiet: [f64; 2],
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
pub(super) fn pairs(modes: &[One], checks: &[Lost], life_h: f64) -> Pairs {
    let mut candidates = Vec::new();
    for (at, mode) in modes.iter().enumerate() {
        for (check, covered) in mode.alone.iter().filter(|(_, covered)| *covered > 0.0) {
            let lost = &checks[*check];
            let rate_fit = lost.loss_fit.map(|loss| dual_fit(*covered, loss, mode.signalled, lost.hidden_h));
            candidates.push(Candidate { rate_fit, mode: at, with: With::Loss(*check) });
        }
        for (beside, other) in modes.iter().enumerate().skip(at + 1) {
            if other.component != mode.component && adds_up(mode, other) {
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

/// Whether two modes harm together although neither does alone.
fn adds_up(one: &One, other: &One) -> bool {
    let side = |place: usize| one.quiet[place] > 0.0 && other.quiet[place] > 0.0;
    [0, 1].into_iter().any(|place| side(place) && one.quiet[place] + other.quiet[place] >= 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(component: &str, alone: &[(usize, f64)], signalled: f64, quiet: [f64; 2]) -> One {
        let alone = alone.to_vec();
        One { component: component.into(), words: component.into(), rate_fit: 10.0, alone, signalled, quiet }
    }

    /// By hand: 0.6 and 0.5 of what harms make it on one side, on two sides and in one component they do not; a covered mode
    /// and its check are noticed where a test finds the loss and somebody is told of the mode.
    #[test]
    fn what_adds_up_and_what_is_noticed() {
        let modes = [one("A", &[], 1.0, [0.6, 0.0]), one("B", &[], 1.0, [0.5, 0.9]), one("A", &[], 1.0, [0.7, 0.0])];
        let found = pairs(&modes, &[], 1e4);
        let names: Vec<[&str; 2]> =
            found.pairs.iter().map(|pair| [pair.first.as_str(), pair.second.as_str()]).collect();
        assert_eq!(names, [["A", "B"], ["B", "A"]]);
        assert!((found.pairs[0].rate_fit.expect("known") - 10.0 * 10.0 * 1e-9 * 1e4).abs() < 1e-9);
        let lost = |found| [Lost { name: "C".into(), loss_fit: Some(5.0), hidden_h: 10.0, found }];
        for (signalled, tested, unnoticed) in [(1.0, true, false), (0.9, true, true), (1.0, false, true)] {
            let done = pairs(&[one("A", &[(0, 8.0)], signalled, [0.0; 2])], &lost(tested), 1e4);
            assert_eq!((done.pairs.len(), done.pairs[0].unnoticed), (1, unnoticed));
        }
    }

    /// Of a hundred modes that add up in pairs 4,950 violate: 2,000 are followed, and the rest is said.
    #[test]
    fn pairs_are_bounded() {
        let names: Vec<String> = (0..100).map(|place| format!("Part {place}")).collect();
        let modes: Vec<One> = names.iter().map(|name| one(name, &[], 1.0, [0.5, 0.0])).collect();
        let found = pairs(&modes, &[], 1e4);
        assert_eq!((found.pairs.len(), found.left_out), (2000, 2950));
    }
}
