//! What the modes of a goal come to together: metrics, lost checks, two faults.

use super::beside::{Beside, Span, around};
use super::input::{DecidedBy, Fault, Goal, Insert, SafetyCheck, SafetyInput, Share, Side};
use super::insertion::{Faulty, decided_at, faulty};
use super::metrics::{Rates, Shares, common_cause_fit, dual_fit};
use super::of_check::{hidden, loss_fit};
use super::output::{SafetyGoal, SafetyMode, SafetyPair};
use super::pairs::{Alone, Lost, One, Pairs, pairs};
use super::used::used;

/// A mode of a goal, before its words: its parts, and what each check covers alone.
pub(super) struct Counted {
    /// Its shares, where they are known.
    pub shares: Option<Shares>,
    /// The parts of its rate.
    pub rates: Rates,
    /// What checks cover that no other does.
    pub alone: Vec<Alone>,
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
fn second(input: &SafetyInput, all: &[Fault], counted: &[Counted], found: &Pairs) -> Result<Second, String> {
    let mut sum = Second { dual: found.modes_fit, common: 0.0 };
    for (place, check) in input.checks.iter().enumerate() {
        let own = || counted.iter().flat_map(|one| &one.alone).filter(|alone| alone.check == place);
        let covered: f64 = own().map(|alone| alone.fit).sum();
        if !(covered > 0.0) {
            continue;
        }
        let loss = loss_fit(all, check).ok_or_else(|| format!("the rate of loss of {} is not given", check.name))?;
        let hours = hidden(input, check);
        sum.dual += own().map(|alone| dual_fit(alone.fit, loss, alone.signalled, hours)).sum::<f64>();
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
    found: &Pairs,
) -> SafetyGoal {
    let unknown = told.iter().find_map(|one| Some(format!("{}: {}", words(one), one.lacks.as_ref()?)));
    let unnamed = counted.iter().position(|one| one.unnamed);
    let unnamed = unnamed.map(|at| format!("which check covers {} is not given", words(&told[at])));
    let nothing = || {
        let rate: f64 = told.iter().map(|mode| mode.mode_fit).sum();
        (!(rate > 0.0)).then(|| "there is no failure rate".to_owned())
    };
    let second = match unknown.or(unnamed).or_else(nothing) {
        Some(why) => Err(why),
        None => second(input, all, counted, found),
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
        handled_s: times.reduce(f64::max).zip(goal.reaction_s).map(|(time, reaction)| time + reaction),
        pairs: found.found.len(),
        unnoticed_pairs: found.found.iter().filter(|pair| pair.unnoticed).count(),
        pairs_left_out: found.left_out,
        pairs_lack: counted
            .iter()
            .zip(told)
            .find_map(|(one, mode)| {
                let why = mode.lacks.as_deref().or(one.pairs_lack)?;
                Some(format!("{}: {why}", words(mode)))
            })
            .or_else(|| unlisted(input, all)),
        worst_mode: worst.map(words),
    }
}

/// A cause that is declared to be shared, of which no mode is in the list.
fn unlisted(input: &SafetyInput, all: &[Fault]) -> Option<String> {
    let none = |share: &&Share| !all.iter().any(|fault| share.what.has(fault.insert));
    let share = input.shares.iter().find(none)?;
    Some(format!("no mode of what is shared ({}) is in the list", share.what.label().to_lowercase()))
}

/// Pairs of a goal that are told: those of which nobody is told before all, then by rate.
const TOLD: usize = 10;

/// Two faults that violate a goal together, a pre-charge by two goals, one a side. What waits unnoticed for a second fault is
/// latent, not safe.
pub(super) fn two_faults(
    input: &SafetyInput,
    all: &[Fault],
    sides: &[&Goal],
    counted: &mut [Counted],
    told: &mut [SafetyMode],
) -> Pairs {
    let one = |(counted, mode): (&'_ Counted, &'_ SafetyMode)| One {
        component: mode.component.clone(),
        words: words(mode),
        rate_fit: mode.mode_fit,
        alone: counted.alone.clone(),
        beside: counted.beside,
    };
    let goal = sides[0];
    // A link that reads high and a pack that reads low close the same contactor.
    let either = goal.minds(false) && goal.minds(true) && goal.decided_by != DecidedBy::Precharge;
    let modes: Vec<One> = counted.iter().zip(told.iter()).map(one).collect();
    let asked = goal.asil.targets().map_or(0.0, |targets| targets.lfm_percent);
    let lost = |check: &SafetyCheck| Lost {
        name: check.name.clone(),
        loss_fit: loss_fit(all, check),
        hidden_h: hidden(input, check),
        // A test that misses much leaves a loss for life.
        found: check.is_tested_within(&input.life) && check.test_coverage_percent >= asked,
    };
    let checks: Vec<Lost> = input.checks.iter().map(lost).collect();
    let faults: Vec<&Fault> = told.iter().map(|mode| &all[mode.row]).collect();
    let side = |fault: &Fault| if input.side_of(fault) == Side::Link { sides.len() - 1 } else { 0 };
    // What both channels of a pre-charge share, or a reading that is used beside the own one, is not this circuit's.
    let bends = used(input, goal).is_some();
    let shared = |fault: &Fault| goal.decided_by == DecidedBy::Precharge && input.in_both(fault.insert);
    let own = |fault: &&Fault| !bends && fault.insert != Insert::None && !shared(fault);
    let circuits: Vec<Option<Vec<Faulty>>> = faults
        .iter()
        .map(|fault| Some(*fault).filter(own).and_then(|fault| faulty(input, sides[side(fault)], fault).ok()))
        .collect();
    let meet = |places: [usize; 2], spans: [Span; 2]| {
        let [one, other] = places.map(|place| faults[place]);
        let of = sides[side(one)];
        let circuit = circuits[places[0]].as_deref().zip(circuits[places[1]].as_deref());
        let circuit = circuit.filter(|_| side(one) == side(other));
        circuit.and_then(|circuit| in_one_circuit(input, of, circuit, spans)).unwrap_or_else(|| {
            let inserted = one.insert != Insert::None && other.insert != Insert::None && side(one) == side(other);
            let apart = of.harm().zip(of.at().filter(|at| *at != 0.0)).filter(|_| inserted);
            let both = together(spans, apart.map_or(0.0, |(harm, at)| towards(of) * harm / at));
            // A converter ends a sum as it does a part of it.
            let range = places.iter().find_map(|place| circuits[*place].as_ref()?.first()).map(Faulty::ends);
            let inside = range
                .zip(apart)
                .filter(|_| of.is_bounded())
                .map(|(range, (harm, at))| ends(range.into_iter().map(|end| towards(of) * (end - at) / harm)));
            inside.map_or(both, |[low, high]| both.map(|one| one.clamp(low, high)))
        })
    };
    let found = pairs(&modes, &checks, input.life.life_h, either, &meet);
    for (place, (one, mode)) in counted.iter_mut().zip(told).enumerate() {
        let Some(shares) = one.shares.filter(|shares| found.waits[place] && shares.safe > 0.0) else { continue };
        let waits = Shares { safe: 0.0, tested: faults[place].tested_percent / 100.0, ..shares };
        one.shares = Some(waits);
        one.rates = waits.of(mode.mode_fit);
        mode.safe_percent = Some(0.0);
        mode.multi_point_percent = Some(100.0 * waits.with_another());
        mode.latent_fit = Some(one.rates.latent);
    }
    found
}

/// What is told of pairs: those of which nobody is told before all, then by rate.
pub(super) fn tell(goal: &Goal, found: Pairs, to: &mut Vec<SafetyPair>) {
    let mut pairs = found.found;
    pairs.sort_by_key(|pair| !pair.unnoticed);
    to.extend(pairs.into_iter().take(TOLD).map(|pair| SafetyPair {
        goal: goal.name.clone(),
        first: pair.first,
        second: pair.second,
        rate_fit: pair.rate_fit,
        unnoticed: pair.unnoticed,
    }));
}

fn words(mode: &SafetyMode) -> String {
    format!("{}, {}", mode.component, mode.mode)
}

/// −1 where deviations are counted downwards.
fn towards(goal: &Goal) -> f64 {
    if goal.minds(true) { 1.0 } else { -1.0 }
}

/// The ends of what two parts of two modes come to, by what each deviates alone and the share of the value that harms: as a
/// sum, or as gains.
fn together([one, other]: [Span; 2], share: f64) -> [f64; 2] {
    let corners = one.parts.iter().flat_map(|first| other.parts.iter().map(move |second| (*first, *second)));
    let both = corners.flat_map(|(first, second)| [first + second, first + second + first * second * share]);
    ends(both)
}

fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| [low.min(value), high.max(value)])
}

/// The same, read in the circuit that has both, in units of what harms; nothing where one is no other part of it.
fn in_one_circuit(
    input: &SafetyInput,
    goal: &Goal,
    (one, other): (&[Faulty], &[Faulty]),
    spans: [Span; 2],
) -> Option<[f64; 2]> {
    let (harm, places) = (goal.harm()?, decided_at(input, goal).ok()?);
    if one.len() != other.len() {
        return None;
    }
    let mut all = None;
    for (at, (one, other)) in places.iter().flat_map(|at| one.iter().zip(other).map(move |both| (at, both))) {
        for first in spans[0].shares {
            for second in spans[1].shares {
                let both = one.beside(other, *at, [first, second], goal.is_bounded()).ok()??;
                all = around(all, Some(ends(both.iter().map(|reading| towards(goal) * (reading - at) / harm))));
            }
        }
    }
    all
}
