//! What the modes of a goal come to together: metrics, lost checks, two faults.

use super::coverage::Beside;
use super::input::{DecidedBy, Fault, Goal, SafetyCheck, SafetyInput};
use super::metrics::{Rates, Shares, common_cause_fit, dual_fit};
use super::of_check::{hidden, loss_fit};
use super::output::{SafetyGoal, SafetyMode, SafetyPair};
use super::pairs::{Lost, One, Pairs, pairs};

/// A mode of a goal, before its words: its parts, and what each check covers alone.
pub(super) struct Counted {
    /// Its shares, where they are known.
    pub shares: Option<Shares>,
    /// The parts of its rate.
    pub rates: Rates,
    /// FIT that a check covers and no other, by the place of the check.
    pub alone: Vec<(usize, f64)>,
    /// What it does as one of two faults, counted towards what harms.
    pub beside: Beside,
    /// Why its pairs are not all known.
    pub pairs_lack: Option<&'static str>,
    /// Whether its coverage names no check: what it meets when the check is lost is not known.
    pub unnamed: bool,
}

/// What checks that are lost, or lost with what they check, add to a goal.
struct Second {
    dual: f64,
    common: f64,
}

/// Rates of a second failure, or what is missing for them.
fn second(input: &SafetyInput, all: &[Fault], counted: &[Counted]) -> Result<Second, String> {
    let mut sum = Second { dual: 0.0, common: 0.0 };
    for (place, check) in input.checks.iter().enumerate() {
        let own = |one: &Counted| one.alone.iter().filter(|(at, _)| *at == place).map(|(_, fit)| *fit).sum::<f64>();
        let covered: f64 = counted.iter().map(own).sum();
        if !(covered > 0.0) {
            continue;
        }
        let loss = loss_fit(all, check).ok_or_else(|| format!("the rate of loss of {} is not given", check.name))?;
        let hours = hidden(input, check);
        for one in counted.iter().filter(|one| own(one) > 0.0) {
            sum.dual += dual_fit(own(one), loss, one.shares.map_or(0.0, |shares| shares.signalled), hours);
        }
        if check.kind.has_partner() {
            let missing = || format!("β is not given, and {} compares two channels", check.name);
            let beta = input.life.beta_percent.ok_or_else(missing)?;
            sum.common += common_cause_fit(beta / 100.0, covered, loss);
        }
    }
    Ok(sum)
}

/// Rates and metrics of a goal, from its modes.
pub(super) fn metrics(
    input: &SafetyInput,
    all: &[Fault],
    goal: &Goal,
    counted: &[Counted],
    told: &[SafetyMode],
) -> SafetyGoal {
    let words = |one: &SafetyMode| format!("{}, {}", one.component, one.mode);
    let unknown = told.iter().find_map(|one| Some(format!("of {} {}", words(one), one.lacks.as_ref()?)));
    let unnamed = counted.iter().position(|one| one.unnamed);
    let unnamed = unnamed.map(|at| format!("which check covers {} is not given", words(&told[at])));
    let nothing = || {
        let rate: f64 = told.iter().map(|mode| mode.mode_fit).sum();
        (!(rate > 0.0)).then(|| "there is no failure rate".to_owned())
    };
    let second = match unknown.or(unnamed).or_else(nothing) {
        Some(why) => Err(why),
        None => second(input, all, counted),
    };
    let sum = counted.iter().fold(Rates::default(), |sum, one| sum.and(one.rates));
    let rates = counted.iter().all(|one| one.shares.is_some()).then_some(sum);
    let both = rates.zip(second.as_ref().ok());
    let violating = |one: &SafetyMode| one.violating_fit.unwrap_or(0.0);
    let worst = told.iter().filter(|one| violating(one) > 0.0);
    let worst = worst.max_by(|one, other| violating(one).total_cmp(&violating(other)));
    let times = told.iter().filter(|one| !one.seen_by.is_empty()).filter_map(|one| one.time_s);
    SafetyGoal {
        name: goal.name.clone(),
        asil: goal.asil,
        rate_fit: told.iter().map(|mode| mode.mode_fit).sum(),
        single_point_fit: rates.map(|rates| rates.single_point),
        residual_fit: rates.map(|rates| rates.residual),
        latent_fit: rates.map(|rates| rates.latent),
        spfm_percent: rates.and_then(|rates| rates.spfm_percent()),
        lfm_percent: rates.and_then(|rates| rates.lfm_percent()),
        spfm_without_safe_percent: rates.and_then(|rates| rates.without_safe().spfm_percent()),
        lfm_without_safe_percent: rates.and_then(|rates| rates.without_safe().lfm_percent()),
        dual_fit: both.map(|(_, second)| second.dual),
        common_cause_fit: both.map(|(_, second)| second.common),
        pmhf_fit: both.map(|(rates, second)| rates.violating() + second.dual + second.common),
        pmhf_lacks: second.err(),
        handled_s: times.reduce(f64::max).map(|time| time + goal.reaction_s),
        pairs: 0,
        unnoticed_pairs: 0,
        pairs_left_out: 0,
        pairs_lack: None,
        worst_mode: worst.map(words),
    }
}

/// Pairs of a goal that are told: those of which nobody is told before all, then by rate.
const TOLD: usize = 10;

/// Two faults that violate a goal together.
pub(super) fn two_faults(
    input: &SafetyInput,
    all: &[Fault],
    (goal, done): (&Goal, &mut SafetyGoal),
    counted: &[Counted],
    told: &[SafetyMode],
    to: &mut Vec<SafetyPair>,
) {
    let words = |mode: &SafetyMode| format!("{}, {}", mode.component, mode.mode);
    let one = |(counted, mode): (&'_ Counted, &'_ SafetyMode)| One {
        component: mode.component.clone(),
        words: words(mode),
        rate_fit: mode.mode_fit,
        alone: counted.alone.clone(),
        signalled: counted.shares.map_or(0.0, |shares| shares.signalled),
        beside: counted.beside,
    };
    // A link that reads high and a pack that reads low close the same contactor.
    let both = goal.minds(false) && goal.minds(true) && goal.decided_by != DecidedBy::Precharge;
    let modes: Vec<One> = counted.iter().zip(told).map(one).collect();
    let lost = |check: &SafetyCheck| Lost {
        name: check.name.clone(),
        loss_fit: loss_fit(all, check),
        hidden_h: hidden(input, check),
        found: check.is_tested_within(&input.life),
    };
    let checks: Vec<Lost> = input.checks.iter().map(lost).collect();
    let Pairs { mut pairs, left_out } = pairs(&modes, &checks, input.life.life_h, both);
    done.pairs = pairs.len();
    done.unnoticed_pairs = pairs.iter().filter(|pair| pair.unnoticed).count();
    done.pairs_left_out = left_out;
    done.pairs_lack =
        counted.iter().zip(told).find_map(|(one, mode)| one.pairs_lack.map(|why| format!("of {} {why}", words(mode))));
    pairs.sort_by_key(|pair| !pair.unnoticed);
    to.extend(pairs.into_iter().take(TOLD).map(|pair| SafetyPair {
        goal: goal.name.clone(),
        first: pair.first,
        second: pair.second,
        rate_fit: pair.rate_fit,
        unnoticed: pair.unnoticed,
    }));
}
