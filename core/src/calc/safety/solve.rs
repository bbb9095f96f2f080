//! Every mode for every goal, every check, and the metrics of the goals.

use std::borrow::Cow;

use super::catalogue::catalogue;
use super::counted::{Counted, metrics, tell, two_faults};
use super::detection::{Sight, Where};
use super::input::{CheckKind, DecidedBy, Fault, Goal, Insert, SafetyCheck, SafetyInput, SafetyJudgedBy, Side, names};
use super::insertion::InState;
use super::metrics::Shares;
use super::of_check::seen;
use super::of_mode::see;
use super::output::{SafetyMode, SafetyOrigin, SafetyOutput};
use super::pairs::Alone;
use super::watch::Seeing;
use crate::work::{Halt, Work};

pub(super) fn solve(input: &SafetyInput, work: Work) -> Result<SafetyOutput, Halt> {
    let mut modes = Vec::new();
    let mut goals = Vec::new();
    let mut pairs = Vec::new();
    let stated = input.judged_goals();
    let all = faults(input, &stated);
    let lost_together = input.lost_together();
    for (place, goal) in stated.iter().enumerate() {
        let within_s = goal.within_s();
        let probability = (input.judged_by == SafetyJudgedBy::Probability).then_some(input.detection_percent / 100.0);
        // The two channels of a pre-charge are decided at different values.
        let of_link = (goal.decided_by == DecidedBy::Precharge).then(|| input.by_its_part(goal, Side::Link));
        let sides: Vec<&Goal> = std::iter::once(goal).chain(&of_link).collect();
        let mut seeing = Vec::with_capacity(sides.len());
        for side in &sides {
            let mut sights = Vec::with_capacity(input.checks.len());
            for check in &input.checks {
                work.go_on()?;
                // What is seen for certain is not known without the noise that counts against it.
                // A threshold may err more where its goal is decided than the channel does in use.
                let errs = side.told()[1].filter(|_| check.kind.reads_the_channel() && check.reads == side.reads);
                let sight = Sight::of(input, check, Where::At(side.at()))
                    .map(|sight| sight.no_better_than(errs.unwrap_or(0.0)))
                    .filter(|sight| sight.noise.is_some() || (sight.z == 0.0 && probability.is_none()));
                sights.push(sight.map(|sight| Seeing::of(sight, within_s, probability)));
            }
            seeing.push(sights);
        }
        let mut counted = Vec::new();
        // A part of another channel cannot touch the goal: its rate would only pad the metrics.
        let own = all.iter().enumerate().filter(|(_, fault)| fault.touches(goal));
        let first = modes.len();
        for (row, fault) in own {
            work.go_on()?;
            let side = if input.side_of(fault) == Side::Link { sides.len() - 1 } else { 0 };
            let slow_s = input.slow_s(fault);
            let slowed = |(seeing, check): (&Option<Seeing>, &SafetyCheck)| {
                // What an open-wire check waits for is in its own time.
                let seeing = seeing.filter(|_| check.kind != CheckKind::OpenWire);
                seeing.map(|seeing| Seeing::of(seeing.sight.behind(slow_s), within_s, probability))
            };
            let sights: Cow<[Option<Seeing>]> = if slow_s > 0.0 {
                let all = seeing[side].iter().zip(&input.checks);
                all.map(|(seeing, check)| slowed((seeing, check)).or(*seeing)).collect()
            } else {
                Cow::Borrowed(&seeing[side])
            };
            let (one, told) = mode(input, sides[side], place, row, fault, &sights, &lost_together);
            counted.push(one);
            modes.push(told);
        }
        let found = two_faults(input, &all, &sides, &mut counted, &mut modes[first..]);
        goals.push(metrics(input, &all, goal, &counted, &modes[first..], &found));
        tell(goal, found, &mut pairs);
    }
    // What violates most first; what is not known before all.
    let order = |one: &SafetyMode| one.violating_fit.unwrap_or(f64::INFINITY);
    modes.sort_by(|one, other| order(other).total_cmp(&order(one)));
    Ok(SafetyOutput {
        goals,
        modes,
        pairs,
        checks: input.checks.iter().map(|check| seen(input, &all, check)).collect(),
    })
}

/// The modes that are typed, or all that can be inserted.
pub(super) fn faults<'a>(input: &'a SafetyInput, goals: &[Goal]) -> Cow<'a, [Fault]> {
    if input.faults.is_empty() { Cow::Owned(catalogue(input, goals)) } else { Cow::Borrowed(&input.faults) }
}

/// How many modes are followed for a goal at most: those that are typed, or the catalogue of a channel.
pub(super) fn most_faults(input: &SafetyInput) -> usize {
    input.faults.len().max(32)
}

/// Checks that a mode names, with their places. What is inserted and names none is looked at by all of the quantity; none sees
/// what it cannot see.
fn named<'a>(input: &'a SafetyInput, goal: &Goal, fault: &Fault) -> Vec<(usize, &'a SafetyCheck)> {
    // A check that needs what fails is lost with it.
    let needs = |check: &SafetyCheck| names(&check.needs).any(|name| name == fault.component);
    let own = |check: &SafetyCheck| !needs(check) && (fault.insert == Insert::None || input.can_see(check, fault));
    // Nothing says which checks look at the other channel of a pre-charge.
    if goal.decided_by == DecidedBy::Precharge && input.side_of(fault) == Side::Link && fault.seen_by.is_empty() {
        return Vec::new();
    }
    if fault.insert != Insert::None && fault.seen_by.is_empty() {
        return input.checks.iter().enumerate().filter(|(_, check)| check.reads == goal.reads && own(check)).collect();
    }
    names(&fault.seen_by).filter_map(|name| input.check(name)).filter(|(_, check)| own(check)).collect()
}

fn mode(
    input: &SafetyInput,
    goal: &Goal,
    of_goal: usize,
    row: usize,
    fault: &Fault,
    sights: &[Option<Seeing>],
    lost_together: &[usize],
) -> (Counted, SafetyMode) {
    let looking = named(input, goal, fault);
    let seen = see(input, goal, fault, &looking, sights, lost_together);
    let checks: Vec<(usize, &SafetyCheck)> = looking.iter().copied().filter(|(_, check)| check.covers()).collect();
    // Of what is worked out only those count that see something.
    let sees = |place: usize| match seen.computed.as_ref().filter(|one| one.dangerous > 0.0) {
        None => true,
        Some(one) => seen.looking.iter().zip(&one.each).any(|(at, each)| *at == place && each.in_time > 0.0),
    };
    let ceilings = checks.iter().filter(|(place, _)| sees(*place)).map(|(_, check)| check.most_percent());
    let ceiling = ceilings.reduce(f64::max);
    let computed = seen.computed.as_ref().filter(|one| one.dangerous > 0.0 && !checks.is_empty());
    let computed_percent = computed.map(|one| 100.0 * one.coverage);
    let most = ceiling.into_iter().chain(fault.coverage_percent).reduce(f64::min);
    // What is claimed and can be worked out is a ceiling; what nobody says is not covered.
    let used = match (computed_percent, fault.coverage_percent) {
        (Some(computed), _) => Some(most.map_or(computed, |most| computed.min(most))),
        // A claim that names checks of which none acts covers nothing.
        (None, Some(_)) if checks.is_empty() && !fault.seen_by.is_empty() => None,
        (None, Some(claimed)) => Some(ceiling.map_or(claimed, |most| claimed.min(most))),
        (None, None) => None,
    };
    // Beside what is inserted a claim can only make worse.
    let dangerous = seen.computed.as_ref().map(|one| 100.0 * one.dangerous);
    let direct = [fault.direct_percent, dangerous].into_iter().flatten().reduce(f64::max);
    let masked = seen.computed.as_ref().map_or(0.0, |one| one.masked);
    let masked_told = seen.computed.as_ref().map_or(0.0, |one| one.masked_told);
    let harmless = dangerous.map(|dangerous| (100.0 - dangerous - 100.0 * masked).max(0.0));
    let safe = match fault.direct_percent {
        Some(_) => Some(fault.safe_percent.unwrap_or(0.0)),
        None => fault.safe_percent.or(harmless),
    };
    let safe = [safe, harmless].into_iter().flatten().reduce(f64::min);
    let late = fault.coverage_percent.is_some()
        && computed_percent.is_none()
        && seen.time_s.is_some_and(|time| time > goal.within_s() * (1.0 + 1e-9));
    let used = if late { Some(0.0) } else { used };
    let needs_check = direct.is_some_and(|direct| direct > 0.0) && used.is_none() && !checks.is_empty();
    let untimed = direct.is_some_and(|direct| direct > 0.0) && !checks.is_empty();
    let part_lacks = input.part_lacks(goal).or_else(|| goal.time_lacks().filter(|_| untimed));
    let shares = direct.filter(|_| !needs_check && part_lacks.is_none()).map(|direct| Shares {
        safe: safe.unwrap_or(0.0).min(100.0 - direct) / 100.0,
        direct: direct / 100.0,
        coverage: used.map(|used| used / 100.0),
        signalled: match (fault.signalled_percent, computed) {
            (Some(claimed), Some(one)) => one.told.min(claimed / 100.0),
            (Some(claimed), None) => claimed / 100.0,
            (None, Some(one)) => one.told,
            (None, None) => f64::from(u8::from(checks.iter().any(|(_, check)| check.signals))),
        },
        tested: (fault.tested_percent / 100.0).max(if masked > 0.0 { masked_told } else { 0.0 }),
    });
    let rates = shares.map(|shares| shares.of(fault.mode_fit())).unwrap_or_default();
    let covered_fit = shares.map_or(0.0, |shares| fault.mode_fit() * shares.direct * shares.coverage.unwrap_or(0.0));
    let alone = match (computed, checks.as_slice()) {
        (Some(one), _) if one.coverage > 0.0 => {
            let claimed = fault.signalled_percent.map_or(1.0, |claimed| claimed / 100.0);
            let part = |((check, alone), told): ((&usize, &f64), &f64)| Alone {
                check: *check,
                fit: covered_fit * alone / one.coverage,
                signalled: told.min(claimed),
            };
            seen.looking.iter().zip(&one.alone).zip(&one.alone_told).map(part).filter(|alone| alone.fit > 0.0).collect()
        }
        (None, [(only, _)]) if covered_fit > 0.0 => {
            let signalled = shares.map_or(0.0, |shares| shares.signalled);
            vec![Alone { check: *only, fit: covered_fit, signalled }]
        }
        _ => Vec::new(),
    };
    let origin = match (shares, computed) {
        (None, _) => SafetyOrigin::NotKnown,
        (Some(_), Some(_)) => SafetyOrigin::Computed,
        (Some(_), None) if fault.direct_percent.is_none() => SafetyOrigin::Computed,
        (Some(_), None) => SafetyOrigin::Claimed,
    };
    let lacks = shares.is_none().then(|| {
        let nothing = || "neither a direct share nor a deviation is given".to_owned();
        part_lacks
            .or(seen.lacks.clone())
            .unwrap_or_else(|| if needs_check { "its coverage is not given".into() } else { nothing() })
    });
    let percent = |part: fn(&Shares) -> f64| shares.as_ref().map(|shares| 100.0 * part(shares));
    let told = SafetyMode {
        row,
        of_goal,
        component: fault.component.clone(),
        mode: fault.mode.clone(),
        goal: goal.name.clone(),
        mode_fit: fault.mode_fit(),
        safe_percent: percent(|shares| shares.safe),
        direct_percent: percent(|shares| shares.direct),
        multi_point_percent: percent(Shares::with_another),
        dc_computed_percent: computed_percent,
        ceiling_percent: most,
        dc_used_percent: shares.and_then(|shares| shares.coverage).map(|part| 100.0 * part),
        violating_fit: shares.map(|_| rates.violating()),
        latent_fit: shares.map(|_| rates.latent),
        seen_by: checks.iter().map(|(_, check)| check.name.clone()).collect(),
        seen_from: computed.and_then(|one| one.seen_from),
        unseen_to: seen.computed.as_ref().and_then(|one| one.unseen_to),
        time_s: seen.time_s,
        glances: seen.glances,
        worst: seen.worst,
        at: if fault.insert == Insert::None { None } else { goal.at().filter(|_| seen.state.is_some()) },
        deviates_from: seen.deviates.map(|[low, _]| low),
        deviates_to: seen.deviates.map(|[_, high]| high),
        state: seen.state.as_ref().map(|state| state.words.to_owned()),
        beyond_range: seen.state.as_ref().is_some_and(|state| state.beyond),
        comparison_sees: comparison_sees(input, goal, fault, seen.state.as_ref()),
        behaviour: seen.follows.map(|follows| follows.behaviour),
        trips_at: seen.follows.and_then(|follows| follows.trips_at),
        trips_after_s: seen.follows.and_then(|follows| follows.after_s),
        late_by_s: seen.follows.and_then(|follows| follows.late_by_s),
        inrush_a: seen.follows.and_then(|follows| follows.inrush_a),
        ah_per_day: seen.follows.and_then(|follows| follows.ah_per_day),
        budget_days: seen.follows.and_then(|follows| follows.budget_days),
        origin,
        inserted: seen.computed.is_some(),
        illustrative: fault.illustrative,
        lacks,
    };
    let unnamed = checks.is_empty() && covered_fit > 0.0;
    // Counted towards what harms.
    let beside = seen.computed.as_ref().map(|one| one.beside.turned(!goal.minds(true))).unwrap_or_default();
    // Of several checks that are claimed nobody says what each alone covers.
    let pairs_lack = match shares {
        Some(_) if unnamed || (covered_fit > 0.0 && computed.is_none() && checks.len() > 1) => {
            Some("which check alone covers it is not given")
        }
        Some(shares) if shares.with_another() > 1e-9 => Some("which second fault it takes is not given"),
        // Why there are no shares the mode says itself.
        _ => None,
    };
    (Counted { shares, rates, alone, beside, pairs_lack, unnamed }, told)
}

/// What two channels that are compared differ by, at the most: nothing of what both share; left out where none is compared.
fn comparison_sees(input: &SafetyInput, goal: &Goal, fault: &Fault, state: Option<&InState>) -> Option<f64> {
    let compares = |check: &&SafetyCheck| check.kind.has_partner() && check.reads == goal.reads;
    let named = |check: &&SafetyCheck| fault.seen_by.is_empty() || names(&fault.seen_by).any(|name| name == check.name);
    let mut own = input.checks.iter().filter(compares).filter(named).peekable();
    own.peek()?;
    let sees = fault.insert == Insert::None || own.any(|check| input.can_see(check, fault));
    let largest =
        state?.deviations.iter().copied().reduce(|one, other| if other.abs() > one.abs() { other } else { one });
    largest.map(|deviation| if sees { deviation } else { 0.0 })
}
