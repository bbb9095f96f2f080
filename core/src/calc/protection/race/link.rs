//! The link capacitor into a short on the pack's side, through shunt and closed switch.
//!
//! ```text
//! Formula    α = R/(2L), ω0² = 1/(L C); oscillating, ω² = ω0² − α²: i = V/(ω L) e^(−α t) sin ω t, a peak at
//!            t = arctan(ω/α)/ω and a smaller one each half period; creeping, s² = α² − ω0²: i = V/(s L) e^(−α t) sinh s t,
//!            a peak at t = artanh(s/α)/s; without L: V/R e^(−t/(R C))
//!            ∫i² dt = C V²/(2 R): all that was stored goes into R
//!            the switch opens when a peak P has come through its filter, τ_f ln(P/(P − I_th)), and the shortest reaction has
//!            run, or later
//! Symbols    V [V] of the link, C [F], R [Ω] of the short, L [H] of the loop
//! Valid      the smallest R and L carry and heat most; what an opening may meet is searched over R and L on a grid, finer in L
//!            the more often it has swung until then; with what others feed, over the part of the voltage that drives it: the
//!            less that is, the longer the fuse takes
//! Source     second-order linear differential equation; checked by numerical integration in tests/python
//! ```

use std::cell::Cell;

use super::fault::Fault;
use super::fuse::melting;
use super::input::RaceInput;
use super::inside::{largest_opened, parts_inside};
use super::joint::{Feeds, courses};
use super::output::RaceLink;
use super::region::{Place, Region};
use crate::judge::passes;
use crate::numeric::{log_grid, where_largest};
use crate::physics::fault_loop::Loop;
use crate::work::{Halt, Work};

/// Places of resistance and of inductance where either is a range: of the link alone, and of link and others.
const PLACES: [u32; 2] = [33, 3];

/// Most places of the inductance, and how far two of them let the swing run apart until the switch opens, rad.
const SWINGS: (u32, f64) = (65, 0.35);

/// Below this part of its peak what an opening meets of the link is nothing.
const OVER: f64 = 1e-3;

impl RaceLink {
    /// The peak with all that feeds the fault, A.
    pub(super) fn most_a(&self) -> Option<f64> {
        Some(self.peak_a?.max(self.with_others_a.unwrap_or(0.0)))
    }

    /// What passes with all that feeds the fault, as far as it is known, A²s.
    pub(super) fn passes_a2s(&self) -> Option<f64> {
        Some(self.let_through_a2s?.max(self.with_others_a2s.unwrap_or(0.0)))
    }

    /// Whether this may melt the fuse: no discharge needs less than its least I²t at the peak.
    pub(super) fn melts(&self, input: &RaceInput) -> bool {
        let range = self.most_a().map_or([f64::MAX; 2], |peak| [peak, peak]);
        let needs = melting(input, range, input.source.voltage_v, 0.0);
        needs.is_some_and(|needs| self.passes_a2s().is_none_or(|a2s| passes(a2s, needs.low_a2s)))
    }
}

/// The discharge of the link; none without a capacitor.
pub(super) fn link(input: &RaceInput, region: &Region, work: Work) -> Result<Option<RaceLink>, Halt> {
    let source = &input.source;
    let Some(farad) = source.link_farad.or(source.precharged_farad) else { return Ok(None) };
    let (volt, ohm, henry) = (source.voltage_v, source.external_resistance_ohm, source.inductance_henry);
    let ring = Ring { volt, farad, ohm, henry };
    let (peak, a2s) = (ring.peak_a(), farad * volt * volt / (2.0 * ohm));
    let opened = places(input, ring, PLACES[0]).filter_map(|ring| {
        let peak = ring.peak_a();
        let most = ring.largest_a(earliest_s(input, peak)?);
        passes(most, OVER * peak).then_some(most)
    });
    let opened_a = opened.reduce(f64::max);
    let mut told = RaceLink {
        peak_a: Some(peak).filter(|peak| peak.is_finite()),
        let_through_a2s: Some(a2s).filter(|a2s| a2s.is_finite()),
        with_others_a: None,
        with_others_a2s: None,
        opened_a,
    };
    if input.feeding() > 0 {
        with_others(input, region, ring, &mut told, work)?;
    }
    Ok(Some(told))
}

/// When the switch opens at the earliest after a current of this peak, s; none where its detection does not see it.
fn earliest_s(input: &RaceInput, peak_a: f64) -> Option<f64> {
    let [(threshold, filter), _] = input.detections();
    passes(peak_a, threshold).then(|| input.reaction().0 - filter * libm::log1p(-threshold / peak_a))
}

/// The shorts of every resistance and inductance. Where the swing has turned far before the switch opens, it is the
/// inductance that tells how it stands then: with the least resistance, which damps it least, its places are closer.
fn places(input: &RaceInput, ring: Ring, count: u32) -> impl Iterator<Item = Ring> {
    let source = &input.source;
    let grid = |least: f64, most: Option<f64>, count: u32| {
        let most = most.unwrap_or(least);
        let mut all = vec![least];
        if most > least {
            // From nothing on, where nothing is the least.
            let from = if least > 0.0 { least } else { 1e-3 * most };
            all.extend(log_grid(from, most, count).filter(|one| *one > least));
        }
        all
    };
    let turns = |henry: f64| input.reaction().0 / (henry * ring.farad).sqrt();
    let most = source.inductance_max_henry.unwrap_or(ring.henry);
    let apart = (turns(ring.henry.max(1e-3 * most)) - turns(most)) / SWINGS.1;
    let close = (1..SWINGS.0).find(|places| f64::from(*places) >= apart).unwrap_or(SWINGS.0);
    let ohms = grid(ring.ohm, source.external_resistance_max_ohm, count);
    ohms.into_iter().enumerate().flat_map(move |(index, ohm)| {
        let henries = grid(ring.henry, source.inductance_max_henry, if index == 0 { count.max(close) } else { count });
        henries.into_iter().map(move |henry| Ring { ohm, henry, ..ring })
    })
}

/// What the others add to it.
fn with_others(input: &RaceInput, region: &Region, ring: Ring, told: &mut RaceLink, work: Work) -> Result<(), Halt> {
    let strongest = region.range_a().1;
    let faults = region.before_a.iter().map(|before_a| {
        region.run(input, Place { prospective_a: strongest, slow: 0.0, before_a: *before_a, inside: true })
    });
    let faults: Vec<_> = faults.collect();
    let Some(others) = faults.first().and_then(|fault| fault.seen.reverse) else { return Ok(()) };
    let before_a = region.before_a.iter().fold(0.0, |most: f64, before| most.max(-before));
    let others_henry = region.others_henry(input);
    let feeds = |ring: Ring, others: &Loop| Feeds {
        volt: ring.volt,
        farad: ring.farad,
        others_ohm: others.resistance_ohm,
        ohm: ring.ohm,
        henry: ring.henry,
        others_henry,
        before_a,
    };
    // Until it is over the least resistance lets most through; but the less drives it, the longer that takes.
    let (mut most_a, mut passes_a2s) = (None, Some(0.0_f64));
    for most_ohm in [false, true] {
        let Some(fed) = region.inside(input, most_ohm, 1.0).find_map(|fault| fault.seen.reverse) else { continue };
        let stopped = Cell::new(false);
        let over = |part: f64| {
            if stopped.get() || work.go_on().is_err() {
                stopped.set(true);
                return None;
            }
            let ends = region.inside(input, most_ohm, part).map(|fault| fault.over_inside(input).value());
            ends.reduce(|one, two| Some(one?.max(two?))).flatten()
        };
        let Some(both) = courses(&feeds(ring, &fed), settled_s(&ring, &fed), work)? else { return Ok(()) };
        // The fault may lie anywhere in the string.
        let edges = parts_inside(input, &fed);
        let weakest = edges.last().copied().unwrap_or(1.0).min(region.lowest_part());
        let both = &both;
        let flows_a = |part: f64| {
            let until = over(part).unwrap_or(f64::INFINITY);
            let peaks = both.iter().map(|course| part * course.largest_between_a(0.0, until) + (1.0 - part) * before_a);
            peaks.fold(0.0, f64::max)
        };
        let passed = |part: f64| {
            let until = over(part)?;
            let left_a = (1.0 - part) * before_a;
            both.iter().map(|course| course.a2s_until(until, part, left_a)).reduce(f64::max)
        };
        most_a = [most_a, Some(flows_a(where_largest(weakest, 1.0, &edges, flows_a)))]
            .into_iter()
            .flatten()
            .reduce(f64::max);
        // Of what passes faults are judged down to the lowest voltage, as those outside are.
        let at = where_largest(region.lowest_part(), 1.0, &edges, |part| passed(part).unwrap_or(f64::INFINITY));
        passes_a2s = passes_a2s.zip(passed(at)).map(|(one, two)| one.max(two));
        if stopped.get() {
            return Err(Halt);
        }
    }
    (told.with_others_a, told.with_others_a2s) = (most_a, passes_a2s);
    // Where it is over at every opening the others alone are left, which are searched by themselves.
    let soonest = input.reaction().0;
    if !places(input, ring, PLACES[1]).any(|ring| passes(ring.largest_a(soonest), OVER * ring.peak_a())) {
        return Ok(());
    }
    let parts: Vec<(f64, Option<f64>)> =
        parts_inside(input, &others).into_iter().map(|part| (part, ends_s(input, &faults, &others, part))).collect();
    for ring in places(input, ring, PLACES[1]) {
        let Some(both) = courses(&feeds(ring, &others), settled_s(&ring, &others), work)? else { continue };
        for course in &both {
            let peak = course.largest_a(0.0);
            // A linear circuit: what a part of the voltage drives is that part, and of what flowed before no more is left.
            let opened = |part: f64| {
                let left = (1.0 - part) * before_a;
                let known = parts.iter().find(|(known, _)| *known == part).map(|(_, end)| *end);
                let end = known.unwrap_or_else(|| ends_s(input, &faults, &others, part));
                let earliest =
                    earliest_s(input, part * peak + left).filter(|from| end.is_none_or(|end| *from <= end))?;
                Some(part * course.largest_between_a(earliest, end.unwrap_or(f64::INFINITY)) + left)
            };
            let found = largest_opened(&parts.iter().map(|(part, _)| *part).collect::<Vec<_>>(), opened);
            told.opened_a = [told.opened_a, found].into_iter().flatten().reduce(f64::max);
        }
    }
    Ok(())
}

/// When everything has settled, s.
fn settled_s(ring: &Ring, others: &Loop) -> f64 {
    let rings = if ring.ohm > 0.0 { ring.henry / ring.ohm } else { 0.0 };
    20.0 * ((ring.ohm + others.resistance_ohm) * ring.farad + others.time_constant_s() + rings)
}

/// When the devices of a string have surely ended what a part of the voltage drives into it, whatever flowed before, s.
fn ends_s(input: &RaceInput, faults: &[Fault], others: &Loop, part: f64) -> Option<f64> {
    let sum = others.driven_by(part);
    let ends = faults.iter().map(|fault| fault.ends_inside_s(input, &sum));
    ends.reduce(|one, two| Some(one?.max(two?))).flatten()
}

/// A charged capacitor into a short.
#[derive(Clone, Copy, Debug)]
struct Ring {
    volt: f64,
    farad: f64,
    ohm: f64,
    henry: f64,
}

/// How it swings, in units of 1/ω0.
struct Swing {
    /// The peak without damping, A.
    free_a: f64,
    /// ω0, rad/s.
    omega: f64,
    /// α/ω0.
    damping: f64,
    /// √|1 − (α/ω0)²|.
    root: f64,
    /// When it is largest.
    peak: f64,
}

impl Ring {
    /// None where it only falls, or where nothing damps it.
    fn swing(&self) -> Option<Swing> {
        // Without damping, and without inductance: neither is ever passed.
        let (free_a, still) = (self.volt * (self.farad / self.henry).sqrt(), self.volt / self.ohm);
        let ratio = still / free_a;
        if self.henry <= 0.0 || ratio < 1e-6 || self.ohm <= 0.0 || ratio > 1e6 {
            return None;
        }
        let damping = 0.5 / ratio;
        let root = (1.0 - damping * damping).abs().sqrt();
        let peak = if root < 1e-6 {
            1.0
        } else if damping < 1.0 {
            libm::atan2(root, damping) / root
        } else {
            libm::atanh(root / damping) / root
        };
        Some(Swing { free_a, omega: 1.0 / (self.henry * self.farad).sqrt(), damping, root, peak })
    }

    fn peak_a(&self) -> f64 {
        let (free, still) = (self.volt * (self.farad / self.henry).sqrt(), self.volt / self.ohm);
        match self.swing() {
            Some(swing) => Some(swing.at_a(swing.peak)).filter(|peak| peak.is_finite()).unwrap_or(still),
            None if self.henry <= 0.0 || still < free => still,
            None => free,
        }
    }

    /// The largest from a time on, A.
    fn largest_a(&self, from_s: f64) -> f64 {
        let Some(swing) = self.swing() else {
            let falls = self.ohm > 0.0 && self.volt / self.ohm <= self.peak_a();
            return if falls { self.peak_a() * libm::exp(-from_s / (self.ohm * self.farad)) } else { self.peak_a() };
        };
        let from = from_s * swing.omega;
        if from <= swing.peak {
            return self.peak_a();
        }
        let now = swing.at_a(from).abs();
        if swing.damping >= 1.0 || swing.root < 1e-6 {
            return now;
        }
        let half = std::f64::consts::PI / swing.root;
        let next = swing.peak + ((from - swing.peak) / half).ceil() * half;
        now.max(swing.at_a(next).abs())
    }
}

impl Swing {
    /// At a time, A.
    fn at_a(&self, time: f64) -> f64 {
        let Self { free_a, damping, root, .. } = *self;
        if root < 1e-6 {
            return free_a * time * libm::exp(-time);
        }
        if damping < 1.0 {
            return free_a / root * libm::exp(-damping * time) * libm::sin(root * time);
        }
        // 1/(d + √(d² − 1)) is the slow rate, without a difference.
        let slow = 1.0 / (damping + root);
        free_a / (2.0 * root) * libm::exp(-slow * time) * -libm::expm1(-2.0 * root * time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peak_a(volt: f64, farad: f64, ohm: f64, henry: f64) -> f64 {
        Ring { volt, farad, ohm, henry }.peak_a()
    }

    /// By hand: V √(C/L) without R, V/R without L, and V √(C/L)/e where it just does not oscillate, from both sides.
    #[test]
    fn the_peak_goes_over_into_its_simple_cases() {
        let near = |found: f64, wanted: f64| assert!((found / wanted - 1.0).abs() < 1e-5, "{found} {wanted}");
        near(peak_a(100.0, 1e-3, 0.0, 1e-5), 1000.0);
        near(peak_a(100.0, 1e-3, 10.0, 0.0), 10.0);
        // A step, but for L/R: V/R.
        near(peak_a(100.0, 1e-3, 10.0, 1e-10), 10.0);
        for shift in [-1e-5, 0.0, 1e-5] {
            near(peak_a(100.0, 1e-3, 2.0 * 0.1 * (1.0 + shift), 1e-5), 1000.0 / std::f64::consts::E);
        }
    }

    /// Closed forms: the current of a swing at its own times, each peak e^(−π α/ω) of the one before, and the fall over RC.
    #[test]
    fn what_is_left_later_follows_the_closed_forms() {
        let near = |found: f64, wanted: f64| assert!((found / wanted - 1.0).abs() < 1e-9, "{found} {wanted}");
        let (volt, farad, henry) = (800.0, 1e-3, 6e-6);
        let ring = Ring { volt, farad, ohm: 0.01, henry };
        let alpha: f64 = 0.01 / (2.0 * henry);
        let omega = (1.0 / (henry * farad) - alpha * alpha).sqrt();
        let half_s = std::f64::consts::PI / omega;
        near(ring.largest_a(0.0), ring.peak_a());
        near(ring.largest_a(0.9 * half_s) / ring.peak_a(), (-alpha * half_s).exp());
        near(ring.largest_a(1.9 * half_s), ring.peak_a() * (-2.0 * alpha * half_s).exp());
        let creeping = Ring { ohm: 1.0, ..ring };
        let (alpha, time): (f64, f64) = (1.0 / (2.0 * henry), 2e-3);
        let s = (alpha * alpha - 1.0 / (henry * farad)).sqrt();
        near(
            creeping.largest_a(time),
            volt / (2.0 * s * henry) * ((-(alpha - s) * time).exp() - (-(alpha + s) * time).exp()),
        );
        near(Ring { henry: 0.0, ..creeping }.largest_a(time), volt * (-time / 1e-3).exp());
    }
}
