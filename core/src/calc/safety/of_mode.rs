//! What checks see of one mode of a goal: in every state of what the fault does not tell, the worse of each figure.

use super::beside::around;
use super::consequence::{Consequence, Precharge, consequence};
use super::coverage::{Covered, covered};
use super::detection::{Sight, without_limit_s};
use super::glance::{SafetyGlance, SafetyWorst, glance, later, worse_glance, worst};
use super::input::{
    CheckKind, DecidedBy, Fault, Goal, Insert, Law, SafetyCheck, SafetyInput, SafetyJudgedBy, Side, names,
};
use super::insertion::{InState, decided_at, inserted};
use super::signal::signal;
use super::used::used;
use super::watch::{Asked, Seeing, Watch};

/// Steps of a distribution that is not straight.
const STEPS: u32 = 1024;

/// What a value that is held needs to be seen.
const SLOPE: &str = "how fast the quantity moves towards the hazard is not given";

/// How a mode is seen.
#[derive(Default)]
pub(super) struct Seen {
    /// What the design then does.
    pub follows: Option<Consequence>,
    /// What checks see of it; nothing without a deviation.
    pub computed: Option<Covered>,
    /// From the fault to the alarm at the latest, s.
    pub time_s: Option<f64>,
    /// What is not given.
    pub lacks: Option<String>,
    /// The places of the checks that look at it.
    pub looking: Vec<usize>,
    /// The state in which least is covered.
    pub state: Option<InState>,
    /// The lowest and the highest deviation of all states.
    pub deviates: Option<[f64; 2]>,
    /// What each check alone sees.
    pub glances: Vec<SafetyGlance>,
    /// What is handled last.
    pub worst: Option<SafetyWorst>,
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
    Some(Ok(vec![InState {
        words: "as typed",
        sizes: Vec::new(),
        deviations,
        beyond: false,
        grows: Some(f64::INFINITY),
    }]))
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

/// What the named checks see of a mode, from its deviation.
pub(super) fn see(
    input: &SafetyInput,
    goal: &Goal,
    fault: &Fault,
    checks: &[(usize, &SafetyCheck)],
    sights: &[Option<Seeing>],
    lost_together: &[usize],
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
            // A claim of what nobody knows to be in time.
            let untimed = checks.iter().find(|(_, check)| check.covers() && latest_s(check).is_none());
            let untimed = untimed.filter(|_| goal.ftti_s.is_some());
            seen.lacks = untimed.map(|(_, check)| format!("how soon {} sees it is not given", check.name));
            return seen;
        }
    };
    // What is followed is the channel's own reading: another one that is used does something else.
    if uses.is_none_or(|(_, check)| check.moves_both(input, fault)) {
        seen.follows = consequence(input, goal, fault, &states);
    }
    let Some(harm) = goal.harm() else {
        seen.lacks = Some(format!("the harmful deviation of {} is not given", goal.name));
        return seen;
    };
    let errs_more = match uses.map(|(place, check)| (sights[place], check)) {
        None => 0.0,
        Some((Some(seeing), check)) => check.errs_more(seeing.sight.errors),
        Some((None, check)) => {
            seen.lacks = Some(format!("limit, errors or noise of {} are not given", check.name));
            return seen;
        }
    };
    let mut own = Vec::new();
    let decided = decided_at(input, goal).unwrap_or_default();
    let farthest = decided.into_iter().reduce(|one, other| if other.abs() > one.abs() { other } else { one });
    for (place, check) in checks {
        if let Some(why) = check.ends_before(farthest).filter(|_| check.reads == goal.reads) {
            seen.lacks = Some(why);
            return seen;
        }
        match &sights[*place] {
            Some(sight) if check.reads == goal.reads && input.can_see(check, fault) => {
                own.push((*sight, *check, lost_together[*place]));
                seen.looking.push(*place);
            }
            // What only tells somebody, and is not known, tells nobody.
            _ if !check.covers() => {}
            None if check.reads == goal.reads && (check.kind.has_limit() || fault.insert != Insert::None) => {
                let what = if check.kind.has_limit() { "limit, errors or noise" } else { "times" };
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
        within_s: goal.within_s(),
        by_probability: input.judged_by == SafetyJudgedBy::Probability,
    };
    let probability = asked.by_probability.then_some(input.detection_percent / 100.0);
    // Every state must do: of each figure the worst counts, and the state in which least is covered is told.
    for state in states {
        let own_ends = state.deviations.iter().map(|one| Some([*one; 2]));
        seen.deviates = own_ends.fold(seen.deviates, around);
        let made = own.iter().map(|(_, check, _)| signal(input, goal, fault, check, &state));
        let made: Vec<Option<Vec<f64>>> = match made.collect() {
            Ok(made) => made,
            Err(why) => {
                seen.lacks = Some(why);
                seen.computed = None;
                return seen;
            }
        };
        let waits = own.iter().any(|(_, check, _)| check.covers() && check.kind.sees_what_moves());
        if state.grows.is_none() && waits && goal.ftti_s.is_some() {
            seen.lacks = Some(SLOPE.into());
            seen.computed = None;
            return seen;
        }
        let watches = own.iter().zip(&made).map(|((seeing, check, lost_with), of)| Watch {
            seeing: match moved(seeing.sight, check.kind, &state) {
                Some(sight) => Seeing::of(sight, asked.within_s, probability),
                None => *seeing,
            },
            of: of.as_deref(),
            acts: check.covers(),
            signals: check.signals,
            lost_with: *lost_with,
        });
        let watches: Vec<Watch> = watches.collect();
        let names: Vec<&str> = own.iter().map(|(_, check, _)| check.name.as_str()).collect();
        let mut one = covered(&state.deviations, asked, &watches);
        if let Some((_, check)) = uses {
            let moved: Vec<f64> = state.deviations.iter().map(|one| check.of_used(input, fault, *one)).collect();
            let asked = Asked { harm: (harm - errs_more).max(0.0), ..asked };
            let mut watches = watches;
            for watch in &mut watches {
                watch.of = watch.of.or(Some(&state.deviations));
            }
            let of_used = covered(&moved, asked, &watches);
            look(&mut seen, &moved, asked, &of_used, &names, &watches);
            one = one.masked_by(of_used);
        } else {
            look(&mut seen, &state.deviations, asked, &one, &names, &watches);
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
        if check.is_tested_within(&input.life) { check.test_coverage_percent / 100.0 } else { 0.0 }
    };
    needing.map(found).reduce(f64::min)
}

/// A check of a deviation that grows, which what looks at heat sees when all of it is there; nothing where it is there at once.
fn moved(sight: Sight, kind: CheckKind, state: &InState) -> Option<Sight> {
    let grows = state.grows.filter(|grows| grows.is_finite() && kind.sees_what_moves())?;
    if kind.sees_the_deviation() {
        return Some(Sight { grows, ..sight });
    }
    let all = state.deviations.iter().fold(0.0_f64, |most, one| most.max(one.abs()));
    Some(Sight { processing_s: sight.processing_s + all / grows, ..sight })
}

/// What each check alone sees in one more state, and what is handled last.
fn look(seen: &mut Seen, deviations: &[f64], asked: Asked, of_all: &Covered, names: &[&str], watches: &[Watch]) {
    for (place, watch) in watches.iter().enumerate().filter(|(_, watch)| watch.acts) {
        let Some(one) = glance(of_all, asked, place, names[place], watch) else { continue };
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
    // What one alone sees in some state hangs on it.
    for (place, (alone, told)) in one.alone.iter_mut().zip(&mut one.alone_told).enumerate() {
        let [beside, told_beside] = [other.alone[place], other.alone_told[place]];
        *told = if *alone <= 0.0 || (beside > 0.0 && told_beside < *told) { told_beside } else { *told };
        *alone = alone.max(beside).min(one.coverage);
    }
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
