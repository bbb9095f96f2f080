//! Every mode for every goal, every check, and the metrics of the goals.

use std::borrow::Cow;

use super::catalogue::catalogue;
use super::consequence::{Consequence, Precharge, Race, consequence};
use super::counted::{Counted, metrics, two_faults};
use super::coverage::{Asked, Covered, Seeing, Watch, covered};
use super::detection::{Sight, Where, without_limit_s};
use super::glance::{SafetyGlance, SafetyWorst, glance, later, worse_glance, worst};
use super::input::{
    CheckKind, DecidedBy, Fault, Goal, Insert, Law, SafetyCheck, SafetyInput, SafetyJudgedBy, Side, names,
};
use super::insertion::{InState, inserted};
use super::metrics::Shares;
use super::output::{SafetyMode, SafetyOrigin, SafetyOutput};
use super::seen::seen;
use super::signal::signal;
use super::used::used;
use crate::work::{Halt, Work};

/// How a mode is seen.
#[derive(Default)]
struct Seen {
    follows: Option<Consequence>,
    computed: Option<Covered>,
    time_s: Option<f64>,
    lacks: Option<String>,
    /// The places of the checks that look at it.
    looking: Vec<usize>,
    /// The state in which least is covered.
    state: Option<InState>,
    /// What each check alone sees.
    glances: Vec<SafetyGlance>,
    /// What is handled last.
    worst: Option<SafetyWorst>,
}

/// Steps of a distribution that is not straight.
const STEPS: u32 = 1024;

pub(super) fn solve(input: &SafetyInput, work: Work) -> Result<SafetyOutput, Halt> {
    let mut modes = Vec::new();
    let mut goals = Vec::new();
    let mut pairs = Vec::new();
    let stated = input.judged_goals();
    let all = faults(input, &stated);
    for (place, goal) in stated.iter().enumerate() {
        let within_s = within(goal);
        let probability = (input.judged_by == SafetyJudgedBy::Probability).then_some(input.detection_percent / 100.0);
        // The two channels of a pre-charge are decided at different values.
        let of_link = (goal.decided_by == DecidedBy::Precharge).then(|| input.by_its_part(goal, Side::Link));
        let sides: Vec<&Goal> = std::iter::once(goal).chain(&of_link).collect();
        let mut seeing = Vec::with_capacity(sides.len());
        for side in &sides {
            let mut sights = Vec::with_capacity(input.checks.len());
            for check in &input.checks {
                work.go_on()?;
                let sight = Sight::of(input, check, Where::At(side.at()));
                sights.push(sight.map(|sight| Seeing::of(sight, within_s, probability)));
            }
            seeing.push(sights);
        }
        let mut counted = Vec::new();
        // A part of another channel cannot touch the goal: its rate would only pad the metrics.
        let touches = |fault: &Fault| fault.insert.reads().is_none_or(|reads| reads == goal.reads);
        let own = all.iter().enumerate().filter(|(_, fault)| fault.counts_for(&goal.name) && touches(fault));
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
            let (one, told) = mode(input, sides[side], place, row, fault, &sights);
            counted.push(one);
            modes.push(told);
        }
        let mut done = metrics(input, &all, goal, &counted, &modes[first..]);
        two_faults(input, &all, (goal, &mut done), &counted, &modes[first..], &mut pairs);
        goals.push(done);
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
fn faults<'a>(input: &'a SafetyInput, goals: &[Goal]) -> Cow<'a, [Fault]> {
    if input.faults.is_empty() { Cow::Owned(catalogue(input, goals)) } else { Cow::Borrowed(&input.faults) }
}

/// How many modes are followed for a goal at most: those that are typed, or the catalogue of a channel.
pub(super) fn most_faults(input: &SafetyInput) -> usize {
    input.faults.len().max(32)
}

/// Time that is left from the fault to the alarm.
fn within(goal: &Goal) -> f64 {
    goal.ftti_s.map_or(f64::INFINITY, |ftti| ftti - goal.reaction_s)
}

/// Checks that a mode names, with their places. What is inserted and names none is looked at by all of the quantity; none sees
/// what it cannot see.
fn named<'a>(input: &'a SafetyInput, goal: &Goal, fault: &Fault) -> Vec<(usize, &'a SafetyCheck)> {
    let own = |check: &SafetyCheck| fault.insert == Insert::None || input.can_see(check, fault);
    // Nothing says which checks look at the other channel of a pre-charge.
    if goal.decided_by == DecidedBy::Precharge && input.side_of(fault) == Side::Link && fault.seen_by.is_empty() {
        return Vec::new();
    }
    if fault.insert != Insert::None && fault.seen_by.is_empty() {
        return input.checks.iter().enumerate().filter(|(_, check)| check.reads == goal.reads && own(check)).collect();
    }
    names(&fault.seen_by).filter_map(|name| input.check(name)).filter(|(_, check)| own(check)).collect()
}

/// What a mode does in every state, at many magnitudes where what is looked at bends; nothing where neither a deviation nor an
/// insertion is given.
fn states(input: &SafetyInput, goal: &Goal, fault: &Fault, bends: bool) -> Option<Result<Vec<InState>, String>> {
    if fault.insert != Insert::None {
        let both = goal.decided_by == DecidedBy::Precharge && input.in_both(fault.insert);
        return Some(if both { in_both(input, goal, fault) } else { inserted(input, goal, fault) });
    }
    let [from, to] = fault.deviation(goal.reads)?;
    let deviations = if from == to {
        vec![from]
    } else if fault.law == Law::Uniform {
        // What a check makes of it may bend between the ends.
        let steps = if bends { STEPS } else { 1 };
        (0..=steps).map(|step| from + (to - from) * f64::from(step) / f64::from(steps)).collect()
    } else {
        (0..=STEPS).map(|step| from * libm::pow(to / from, f64::from(step) / f64::from(STEPS))).collect()
    };
    Some(Ok(vec![InState { words: "as typed", sizes: Vec::new(), deviations, beyond: false }]))
}

/// What a mode does that sits in both channels of a pre-charge: what the link's reads more than the pack's asks for.
fn in_both(input: &SafetyInput, goal: &Goal, fault: &Fault) -> Result<Vec<InState>, String> {
    let mut states = inserted(input, goal, fault)?;
    let pack = inserted(input, &input.by_its_part(goal, Side::Pack), fault)?;
    let weight = Precharge::of(&input.precharge).map_or(1.0, |precharge| precharge.weight());
    for (state, pack) in states.iter_mut().zip(&pack) {
        for (deviation, other) in state.deviations.iter_mut().zip(&pack.deviations) {
            *deviation -= weight * other;
        }
    }
    Ok(states)
}

fn mode(
    input: &SafetyInput,
    goal: &Goal,
    of_goal: usize,
    row: usize,
    fault: &Fault,
    sights: &[Option<Seeing>],
) -> (Counted, SafetyMode) {
    let looking = named(input, goal, fault);
    let seen = see(input, goal, fault, &looking, sights);
    let checks: Vec<(usize, &SafetyCheck)> = looking.iter().copied().filter(|(_, check)| check.covers()).collect();
    // Of what is worked out only those count that see something.
    let sees = |place: usize| match seen.computed.as_ref().filter(|one| one.dangerous > 0.0) {
        None => true,
        Some(one) => seen.looking.iter().zip(&one.sees).any(|(at, sees)| *at == place && *sees),
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
        && seen.time_s.is_some_and(|time| time > within(goal) * (1.0 + 1e-9));
    let used = if late { Some(0.0) } else { used };
    let needs_check = direct.is_some_and(|direct| direct > 0.0) && used.is_none() && !checks.is_empty();
    let shares = direct.filter(|_| !needs_check).map(|direct| Shares {
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
            let part = |(place, alone): (&usize, &f64)| (*place, covered_fit * alone / one.coverage);
            seen.looking.iter().zip(&one.alone).map(part).filter(|(_, fit)| *fit > 0.0).collect()
        }
        (None, [(only, _)]) if covered_fit > 0.0 => vec![(*only, covered_fit)],
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
        seen.lacks.clone().unwrap_or_else(|| if needs_check { "its coverage is not given".into() } else { nothing() })
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
        deviates_from: seen.state.as_ref().and_then(|state| state.deviations.iter().copied().reduce(f64::min)),
        deviates_to: seen.state.as_ref().and_then(|state| state.deviations.iter().copied().reduce(f64::max)),
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
        None => Some("its shares are not known"),
        Some(_) if unnamed || (covered_fit > 0.0 && computed.is_none() && checks.len() > 1) => {
            Some("which check alone covers it is not given")
        }
        Some(shares) if shares.with_another() > 1e-9 => Some("which second fault it takes is not given"),
        Some(_) => None,
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

/// What the named checks see of a mode, from its deviation.
fn see(
    input: &SafetyInput,
    goal: &Goal,
    fault: &Fault,
    checks: &[(usize, &SafetyCheck)],
    sights: &[Option<Seeing>],
) -> Seen {
    let mut seen = Seen::default();
    if fault.insert == Insert::CheckLost {
        let tested = lost(input, fault);
        // It harms only with a fault that the check would have seen.
        seen.computed = tested.map(|tested| Covered { masked: 1.0, masked_told: tested, ..Covered::default() });
        seen.lacks = tested.is_none().then(|| format!("which check needs {} is not given", fault.component));
        return seen;
    }
    let uses = used(input, goal);
    let bends = uses.is_some() || checks.iter().any(|(_, check)| !check.kind.sees_the_deviation());
    let states = match states(input, goal, fault, bends) {
        Some(Ok(states)) => states,
        Some(Err(why)) => {
            seen.lacks = Some(why);
            return seen;
        }
        None => {
            // Without a deviation only the time of a check is known: that of a step that it just sees.
            let acting = checks.iter().filter(|(_, check)| check.covers());
            let times: Option<Vec<f64>> = acting.map(|(_, check)| latest_s(check)).collect();
            seen.time_s = times.and_then(|times| times.into_iter().reduce(f64::min));
            return seen;
        }
    };
    // What is followed is the channel's own reading: another one that is used does something else.
    if uses.is_none_or(|(_, check)| check.moves_both(input, fault)) {
        seen.follows = consequence(input, goal, fault, &states);
    }
    let Some(harm) = goal.harm() else {
        seen.lacks = Some(if goal.decided_by == DecidedBy::Race && Race::of(&input.race).is_some() {
            format!("the race of {} fails without a fault", goal.name)
        } else {
            format!("the harmful deviation of {} is not given", goal.name)
        });
        return seen;
    };
    let errs_more = match uses.map(|(place, check)| (sights[place], check)) {
        None => 0.0,
        Some((Some(seeing), check)) => check.errs_more(seeing.sight.errors),
        Some((None, check)) => {
            seen.lacks = Some(format!("limit or errors of {} are not given", check.name));
            return seen;
        }
    };
    let mut own = Vec::new();
    for (place, check) in checks {
        match &sights[*place] {
            Some(sight) if check.reads == goal.reads && input.can_see(check, fault) => {
                own.push((*sight, *check));
                seen.looking.push(*place);
            }
            // What only tells somebody, and is not known, tells nobody.
            _ if !check.covers() => {}
            None if check.reads == goal.reads && (check.kind.has_limit() || fault.insert != Insert::None) => {
                let what = if check.kind.has_limit() { "limit or errors" } else { "times" };
                seen.lacks = Some(format!("{what} of {} are not given", check.name));
            }
            // What comes slowly is in no step.
            Some(_) if check.reads == goal.reads && check.kind.sees_the_deviation() => {}
            // What looks at frames or at another quantity sees no deviation of this one.
            _ => seen.lacks = Some(format!("{} looks at no difference of this quantity", check.name)),
        }
    }
    if seen.lacks.is_some() {
        return seen;
    }
    let asked = Asked {
        harm,
        minds: [goal.minds(false), goal.minds(true)],
        within_s: within(goal),
        by_probability: input.judged_by == SafetyJudgedBy::Probability,
    };
    // Every state must do: of each figure the worst counts, and the state in which least is covered is told.
    for state in states {
        let made = own.iter().map(|(_, check)| signal(input, goal, fault, check, &state));
        let made: Vec<Option<Vec<f64>>> = match made.collect() {
            Ok(made) => made,
            Err(why) => {
                seen.lacks = Some(why);
                seen.computed = None;
                return seen;
            }
        };
        let watches: Vec<Watch> =
            own.iter().zip(&made).map(|((seeing, check), of)| watch(seeing, check, of.as_deref())).collect();
        let names: Vec<&str> = own.iter().map(|(_, check)| check.name.as_str()).collect();
        let mut one = covered(&state.deviations, asked, &watches);
        if let Some((_, check)) = uses {
            let moved: Vec<f64> = state.deviations.iter().map(|one| check.of_used(input, fault, *one)).collect();
            let asked = Asked { harm: (harm - errs_more).max(0.0), ..asked };
            let mut watches = watches;
            for watch in &mut watches {
                watch.of = watch.of.or(Some(&state.deviations));
            }
            look(&mut seen, &moved, asked, &names, &watches);
            one = one.masked_by(covered(&moved, asked, &watches));
        } else {
            look(&mut seen, &state.deviations, asked, &names, &watches);
        }
        seen.computed = Some(match seen.computed.take() {
            None => {
                seen.state = Some(state);
                one
            }
            Some(before) => {
                let order = |covered: &Covered| (covered.dangerous > 0.0, -covered.coverage, covered.dangerous);
                if order(&one) > order(&before) {
                    seen.state = Some(state);
                    worse(one, &before)
                } else {
                    worse(before, &one)
                }
            }
        });
    }
    seen.time_s = seen.computed.as_ref().and_then(|one| one.time_s).filter(|time| time.is_finite());
    seen
}

/// The part of the losses of checks that need a component which their tests find in time; nothing where none needs it.
fn lost(input: &SafetyInput, fault: &Fault) -> Option<f64> {
    let needing = input.checks.iter().filter(|check| names(&check.needs).any(|name| name == fault.component));
    let found = |check: &SafetyCheck| {
        let in_time = check.test_interval_h.is_some_and(|interval| interval <= input.life.multi_point_interval_h);
        if in_time { check.test_coverage_percent / 100.0 } else { 0.0 }
    };
    needing.map(found).reduce(f64::min)
}

fn watch<'a>(seeing: &Seeing, check: &SafetyCheck, of: Option<&'a [f64]>) -> Watch<'a> {
    Watch { seeing: *seeing, of, acts: check.covers(), signals: check.signals }
}

/// What each check alone sees in one more state, and what is handled last.
fn look(seen: &mut Seen, deviations: &[f64], asked: Asked, names: &[&str], watches: &[Watch]) {
    for (name, watch) in names.iter().zip(watches).filter(|(_, watch)| watch.acts) {
        let Some(one) = glance(deviations, asked, name, *watch) else { continue };
        match seen.glances.iter_mut().find(|before| before.check == one.check) {
            Some(before) => *before = worse_glance(one, before),
            None => seen.glances.push(one),
        }
    }
    let last = worst(deviations, asked, names, watches);
    seen.worst = seen.worst.take().into_iter().chain(last).reduce(later);
}

/// The first with the worse of each figure that is not its coverage.
fn worse(mut one: Covered, other: &Covered) -> Covered {
    let larger = |a: Option<f64>, b: Option<f64>| [a, b].into_iter().flatten().reduce(f64::max);
    one.dangerous = one.dangerous.max(other.dangerous);
    one.unseen_to = larger(one.unseen_to, other.unseen_to);
    one.seen_from = one.seen_from.zip(other.seen_from).map(|(a, b)| a.max(b));
    one.time_s = larger(one.time_s, other.time_s);
    one.told = one.told.min(other.told);
    one.masked = one.masked.max(other.masked);
    one.masked_told = one.masked_told.min(other.masked_told);
    one.beside = one.beside.worse(other.beside);
    one
}

/// From a step that is just surely seen to the alarm at the latest.
fn latest_s(check: &SafetyCheck) -> Option<f64> {
    if !check.kind.has_limit() {
        return without_limit_s(check);
    }
    let debounced = f64::from(check.in_a_row) * check.interval_s + check.processing_s;
    // A step that is just seen passes a low-pass never.
    (check.low_pass_s <= 0.0).then_some(check.averaging_s + debounced)
}
