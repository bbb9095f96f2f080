//! # Two faults
//!
//! What no single fault does two may do: a fault that a check covers meets the loss of that check, or a deviation that neither
//! harms nor is noticed meets another one, and both together harm and are not seen in time: they add up, or the first hides a
//! part of the second. A pair violates unnoticed where nobody is told before the second fault.
//!
//! ```text
//! Pairs      covered mode and loss of the check that alone covers it: unnoticed where a loss stays longer than the multi-point
//!            interval, or where nobody is told of the mode; two modes of different components: c(q, s) ≥ 1, and c + q (1/F − 1)
//!            below what the second's checks see in time, q any part that the first does unnoticed, s any of the second that
//!            alone does no harm or is seen in time
//! Symbols    c what both deviate by, in units of what harms: read in one circuit where both are parts of it (`insertion`),
//!            q + s of what is typed, the worse of q + s and q + s + q s h/x otherwise, inside the range; h what harms, x where
//!            the goal is decided; F what filters pass of a step in time
//! Found      a loss whose tests find at least what the level asks of latent faults: common practice, no source
//! Rates      as of a covered fault and a lost check (`metrics`); of two modes in any order over the life
//! Valid      what both come to lies between its ends at the ends of their magnitudes; a component fails in one mode; a limit on
//!            a slope sees the second alone; at most so many pairs, by rate
//! Source     ISO 26262-5:2018, 7.4.3 and annex C (multiple-point faults); Kirchhoff's laws
//! ```

use super::beside::{Beside, Span};
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
    /// What checks cover that no other does.
    pub alone: Vec<Alone>,
    /// What it does as one of two, counted towards what harms.
    pub beside: Beside,
}

/// What a check covers of a mode and no other does.
#[derive(Clone, Copy, Debug)]
pub(super) struct Alone {
    /// Place of the check.
    pub check: usize,
    /// Rate, FIT.
    pub fit: f64,
    /// The share of it that somebody is told of.
    pub signalled: f64,
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
    pub found: Vec<Pair>,
    /// How many were not followed.
    pub left_out: usize,
    /// Rate of all pairs of modes, FIT.
    pub modes_fit: f64,
    /// Of each mode, whether it waits unnoticed for another one to harm with.
    pub waits: Vec<bool>,
}

/// What two modes, by their places, deviate by together at the ends of these parts, in units of what harms.
pub(super) type Meet<'a> = dyn Fn([usize; 2], [Span; 2]) -> [f64; 2] + 'a;

/// A pair before its words.
struct Candidate<'a> {
    rate_fit: Option<f64>,
    mode: usize,
    with: With<'a>,
}

enum With<'a> {
    Loss(&'a Alone),
    Mode(usize),
}

/// All pairs of modes and checks that violate a goal: the most frequent are followed.
pub(super) fn pairs(modes: &[One], checks: &[Lost], life_h: f64, both_sides: bool, meet: &Meet) -> Pairs {
    let mut candidates = Vec::new();
    let (mut modes_fit, mut waits) = (0.0, vec![false; modes.len()]);
    for (at, mode) in modes.iter().enumerate() {
        for alone in mode.alone.iter().filter(|alone| alone.fit > 0.0) {
            let lost = &checks[alone.check];
            let rate_fit = lost.loss_fit.map(|loss| dual_fit(alone.fit, loss, alone.signalled, lost.hidden_h));
            candidates.push(Candidate { rate_fit, mode: at, with: With::Loss(alone) });
        }
        for (beside, other) in modes.iter().enumerate().skip(at + 1) {
            if other.component == mode.component {
                continue;
            }
            let after = |first: usize, second: usize| harm_together(modes, [first, second], both_sides, meet);
            let [first, second] = [after(at, beside), after(beside, at)];
            waits[at] |= first;
            waits[beside] |= second;
            if first || second {
                let rate = dual_fit(mode.rate_fit, other.rate_fit, 0.0, life_h);
                modes_fit += rate;
                candidates.push(Candidate { rate_fit: Some(rate), mode: at, with: With::Mode(beside) });
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
            With::Loss(alone) => {
                let check = &checks[alone.check];
                let unnoticed = !check.found || alone.signalled < 1.0;
                Pair { first, second: format!("loss of {}", check.name), rate_fit, unnoticed }
            }
            With::Mode(other) => Pair { first, second: modes[other].words.clone(), rate_fit, unnoticed: true },
        }
    });
    Pairs { found: pairs.collect(), left_out, modes_fit, waits }
}

/// Whether two modes harm one after the other, although the second alone does no harm or is seen in time.
fn harm_together(modes: &[One], order: [usize; 2], both_sides: bool, meet: &Meet) -> bool {
    let [first, second] = order.map(|place| &modes[place].beside);
    let directions: &[bool] = if both_sides { &[false, true] } else { &[false] };
    directions.iter().any(|turns| comes_to_harm(first, second, *turns, &|spans| meet(order, spans)))
}

/// The same for what lies upwards, or downwards.
fn comes_to_harm(first: &Beside, second: &Beside, turns: bool, meet: &dyn Fn([Span; 2]) -> [f64; 2]) -> bool {
    let Some(quiet) = first.quiet else { return false };
    let side = usize::from(!turns);
    let (seen, behind) = second.seen[side].map_or((f64::INFINITY, 0.0), |from| (from.size, 1.0 / from.passed - 1.0));
    let turn = |[low, high]: [f64; 2]| if turns { [-high, -low] } else { [low, high] };
    // What a filter has not passed yet stands as the first left it.
    let before = turn(quiet.parts)[0] * behind;
    // What harms alone and is not seen in time is a single fault's.
    let alone = [(second.harmless, ROUNDED), (second.covered[side], 0.0)];
    seen - before > 1.0
        && alone.into_iter().filter_map(|(span, misses)| Some((span?, misses))).any(|(span, misses)| {
            let [from, to] = turn(meet([quiet, span]));
            to - misses >= 1.0 && from + before < seen * (1.0 - ROUNDED)
        })
}

#[cfg(test)]
mod tests {
    use super::super::beside::Onset;
    use super::*;

    /// Onset nothing up to a part of what harms.
    const fn up_to(most: f64) -> Span {
        Span { shares: [0.0, 1.0], parts: [0.0, most] }
    }

    fn sum(_: [usize; 2], [one, other]: [Span; 2]) -> [f64; 2] {
        [0, 1].map(|end| one.parts[end] + other.parts[end])
    }

    /// A mode from nothing up to a part of what harms, which nobody sees.
    fn one(component: &str, alone: &[Alone], most: f64) -> One {
        let beside = Beside { quiet: Some(up_to(most)), harmless: Some(up_to(most)), ..Beside::default() };
        One { component: component.into(), words: component.into(), rate_fit: 10.0, alone: alone.to_vec(), beside }
    }

    /// By hand: 0.6 and 0.5 of what harms make it, in one component they do not; a covered mode and its check are noticed where
    /// a test finds the loss and somebody is told of the mode. 10 FIT twice over 10,000 h are 0.001 FIT.
    #[test]
    fn what_adds_up_and_what_is_noticed() {
        let modes = [one("A", &[], 0.6), one("B", &[], 0.5), one("A", &[], 0.7), one("C", &[], 0.1)];
        let found = pairs(&modes, &[], 1e4, false, &sum);
        let names: Vec<[&str; 2]> =
            found.found.iter().map(|pair| [pair.first.as_str(), pair.second.as_str()]).collect();
        assert_eq!((names, found.waits), (vec![["A", "B"], ["B", "A"]], vec![true, true, true, false]));
        assert!((found.found[0].rate_fit.expect("known") - 1e-3).abs() < 1e-9 && (found.modes_fit - 2e-3).abs() < 1e-9);
        let lost = |found| [Lost { name: "C".into(), loss_fit: Some(5.0), hidden_h: 10.0, found }];
        for (signalled, tested, unnoticed) in [(1.0, true, false), (0.9, true, true), (1.0, false, true)] {
            let alone = [Alone { check: 0, fit: 8.0, signalled }];
            let done = pairs(&[one("A", &alone, 0.0)], &lost(tested), 1e4, false, &sum);
            assert_eq!((done.found.len(), done.found[0].unnoticed), (1, unnoticed));
        }
    }

    /// By hand, in parts of what harms: −0.8 hides of 3 so much that 2.2 are left, harmful and below the 2.5 that are seen; of
    /// two that are seen from 1 on nothing is left; a sum that is seen in time is none; a second one that alone harms unseen is
    /// a single fault; a first one that is noticed is none. Behind a filter that has passed half of the second, −0.8 with 3.4
    /// come to 0.9 of the limit of 1: what is seen from 2 on alone is seen from 2.8 on.
    #[test]
    fn a_first_fault_adds_to_a_second_or_hides_it() {
        let at = |value: f64| Some(Span { shares: [0.0; 2], parts: [value; 2] });
        let harms = |first: f64, second: f64, covered: bool, size: Option<f64>, passed: f64| {
            let first = Beside { quiet: at(first), ..Beside::default() };
            let seen = [size.map(|size| Onset { size, passed }); 2];
            let second = match (covered, second < 1.0) {
                (true, _) => Beside { covered: [at(second); 2], seen, ..Beside::default() },
                (false, true) => Beside { harmless: at(second), seen, ..Beside::default() },
                (false, false) => Beside { seen, ..Beside::default() },
            };
            comes_to_harm(&first, &second, false, &|spans| sum([0, 1], spans))
        };
        assert!(harms(-0.8, 3.0, true, Some(2.5), 1.0));
        assert!(!harms(-0.8, 3.0, true, Some(1.0), 1.0));
        assert!(!harms(0.7, 0.8, false, Some(1.3), 1.0));
        assert!(harms(0.7, 0.8, false, None, 1.0));
        assert!(!harms(0.1, 1.5, false, None, 1.0));
        assert!(harms(-0.8, 3.4, true, Some(2.0), 0.5));
        assert!(!harms(-0.8, 3.4, true, Some(2.0), 0.9));
        // What is seen from 0.9 on alone is seen from 1.7 on.
        assert!(harms(-0.8, 2.4, true, Some(0.9), 0.5) && !harms(-0.8, 2.6, true, Some(0.9), 0.5));
        let noticed = Beside { harmless: at(0.5), ..Beside::default() };
        assert!(!comes_to_harm(&noticed, &Beside { harmless: at(0.8), ..noticed }, false, &|spans| sum([0, 1], spans)));
    }

    /// Of a hundred modes that add up in pairs 4,950 violate: 2,000 are followed, and the rest is said.
    #[test]
    fn pairs_are_bounded() {
        let names: Vec<String> = (0..100).map(|place| format!("Part {place}")).collect();
        let modes: Vec<One> = names.iter().map(|name| one(name, &[], 0.6)).collect();
        let found = pairs(&modes, &[], 1e4, false, &sum);
        assert_eq!((found.found.len(), found.left_out), (2000, 2950));
    }
}
