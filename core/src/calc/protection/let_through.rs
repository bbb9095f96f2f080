//! # What a fault lets through until the threshold has opened it
//!
//! Whatever current a fault drives, from just above what the threshold may miss to the strongest, shunt, wire and cells
//! carry its I²t until it is off. The worst step is seldom the largest one: near the threshold the filter takes long.
//!
//! ```text
//! Formula    current i, reading y behind one pole and ∫i² dt of a fault loop of V, L and R = V/I (`physics::fault_loop`)
//!            off at T = t(y = x_th + e + z u) + w(z) + processing + opening, the least over z
//! Searched   241 steps, evenly in the logarithm of what lies above the level, from a millionth of the level on to the
//!            strongest fault, or to where a faster function opens; every eighth first, the others where a neighbour
//!            reaches 0.8 of the worst
//! Before     the pack's peak the other way: the lower the current before, the later its reading reaches the level, and the
//!            more has passed and flows at the opening (the tests compare other currents before)
//! Symbols    V, L source and inductance of the fault, I its step, w(z) what the row takes in all but the allowed share
//!            where the reading lies z sigma beyond the level x_th + e (`wait`); n/f_s without noise
//! Nearest    behind a lag the time until it trips grows without bound towards the level, with the logarithm of the
//!            distance; nearer than a millionth a step is the level itself, which is carried for good
//! Valid      a current that stays between what is allowed and the level never trips: the hazard must carry that for good;
//!            a withstand I²t holds up to the strongest fault, smaller currents take at least as much
//! Source     `physics::fault_loop`
//! ```

use super::output::LetThrough;
use super::window::{Faults, UNREAD, Window};
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::physics::fault_loop::Loop;
use crate::quantity::{Unit, ampere, ampere_squared_second, second};

/// What can be told of the faults.
#[derive(Clone, Copy, Debug)]
pub enum Told {
    /// This is not given.
    Missing(&'static str),
    /// Nothing trips for certain at this step, A; none where the strongest fault does not reach the level.
    Never(Option<f64>),
    /// The worst step.
    Worst(LetThrough),
}

const STEPS: u32 = 240;
/// So near to the level, as a share of it, a step is no other current.
const NEAREST: f64 = 1e-6;
/// Every so many of the steps are looked at first; the others only beside one that comes near the worst.
const FIRST: u32 = 8;
const NEAR: f64 = 0.8;
/// So many sigma below its last value a reading is waited for.
const BELOW: [f64; 3] = [0.02, 0.2, 1.0];

impl Faults {
    /// From where on faults are left to a faster function, A; none where it takes none of them.
    fn left_from(&self) -> Option<f64> {
        self.faster_from_a.filter(|from| self.strongest_a.is_some_and(|strongest| *from < strongest))
    }

    /// The lowest current before a fault, A: none, where the pack's peak the other way is not given.
    pub fn before_a(&self) -> f64 {
        0.0 - self.backwards.0.unwrap_or(0.0)
    }

    /// The worst step.
    pub fn worst(&self, window: &Window) -> Told {
        let Some(strongest) = self.strongest_a else { return Told::Missing("/strongest_fault_a") };
        let Some(volt) = self.volt else { return Told::Missing("/fault_v") };
        let Some(henry) = self.henry else { return Told::Missing("/fault_inductance_henry") };
        let terms = &window.terms;
        if let Some(missing) = terms.missing() {
            return Told::Missing(missing);
        }
        let error = window.consumed.error_hazard.max(window.consumed.error_normal);
        // A threshold below nothing is passed by no current at all: what counts begins there.
        let level = (window.threshold() + error).max(0.0);
        let nearest = NEAREST * if level > 0.0 { level } else { strongest };
        if !(strongest > level + nearest) {
            return Told::Never(None);
        }
        let largest = self.faster_from_a.map_or(strongest, |from| strongest.min(from)).max(level + nearest);
        let [_, later @ ..] = &terms.delays;
        let later = later.iter().map(|delay| delay.seconds).sum::<f64>();
        let before = self.before_a();
        let (mut worst, mut opening): (Option<LetThrough>, f64) = (None, 0.0);
        let mut look = |at: u32| -> f64 {
            let above =
                (largest - level) * libm::pow(nearest / (largest - level), 1.0 - f64::from(at) / f64::from(STEPS));
            let step_a = level + above;
            let fault = fault_loop(step_a, volt, henry);
            let off = trips(&fault, before, level, window) + later;
            let through = fault.let_through_a2s(before, off);
            opening = opening.max(fault.current_a(before, off));
            if worst.is_none_or(|worst| through > worst.let_through_a2s) {
                worst = Some(LetThrough {
                    step_a,
                    off_after_s: off,
                    let_through_a2s: through,
                    opening_a: 0.0,
                    overshoot_a: 0.0,
                });
            }
            through
        };
        let first: Vec<f64> = (0..=STEPS / FIRST).map(|at| look(at * FIRST)).collect();
        let least = NEAR * first.iter().copied().fold(0.0, f64::max);
        for (at, ends) in (0..).step_by(FIRST as usize).zip(first.windows(2)) {
            if ends.iter().any(|end| *end >= least) {
                for at in at + 1..at + FIRST {
                    look(at);
                }
            }
        }
        if let Some(never) = worst.filter(|worst| !worst.let_through_a2s.is_finite()) {
            return Told::Never(Some(never.step_a));
        }
        let overshoot_a = opening - window.threshold();
        worst.map_or(Told::Never(None), |worst| Told::Worst(LetThrough { opening_a: opening, overshoot_a, ..worst }))
    }
}

/// The loop that ends in a step of the current.
pub(super) fn fault_loop(step_a: f64, volt: f64, henry: f64) -> Loop {
    Loop { voltage_v: volt, resistance_ohm: volt / step_a, inductance_henry: henry }
}

/// When the row is complete that trips, in all but the allowed share: while it waits the reading may still rise.
fn trips(fault: &Loop, before: f64, level: f64, window: &Window) -> f64 {
    let (noise, wait, filter) = (window.terms.noise, window.wait(), window.terms.delays[0].seconds);
    let at_once = fault.time_constant_s() + filter == 0.0;
    let later = |level: f64| fault.filtered_time_to_s(before, level, filter).unwrap_or(f64::INFINITY);
    let reaches = |level: f64| if at_once { 0.0 } else { later(level) };
    if noise == 0.0 {
        return reaches(level) + wait.seconds(0.0);
    }
    let (last, sure) = ((fault.prospective_a() - level) / noise, wait.sure_sigma());
    let waits = BELOW.into_iter().map(|below| last - below).chain(at_once.then_some(last));
    let waits = waits.filter(|sigma| *sigma < sure).chain((sure < last).then_some(sure));
    let trips = waits.map(|sigma| reaches(level + sigma * noise) + wait.seconds(sigma));
    trips.fold(f64::INFINITY, f64::min)
}

/// What shunt, wire and cells take of it.
pub(super) fn requirements(faults: &Faults, window: &Window, to: &mut Ledger) {
    let told = faults.worst(window);
    if let Told::Missing(what) = told {
        let one =
            Judged::at_most("protection.let-through", what, Unit::AmpereSquaredSecond, None, Limit::Missing(what));
        to.require(one, |_| {
            let note = "for every step from threshold and error to the strongest fault";
            Words::new("I²t until a fault is off", note, "")
        });
        return;
    }
    let worst = if let Told::Worst(worst) = told { Some(worst) } else { None };
    let unread = window.range().fails();
    for ((id, pointer, label), takes) in [
        ("protection.let-through-shunt", "/shunt_a2s", "Shunt"),
        ("protection.let-through-wire", "/wire_a2s", "Wire"),
        ("protection.let-through-cells", "/cells_a2s", "Cells"),
    ]
    .into_iter()
    .zip(faults.takes)
    {
        let limit = takes.map_or(Limit::Missing(pointer), Limit::Given);
        let through = worst.map(|worst| worst.let_through_a2s);
        let mut one = Judged::at_most(id, pointer, Unit::AmpereSquaredSecond, through, limit);
        // What flows the other way before makes it worse.
        if let ((None, missing), false) = (faults.backwards, one.fails()) {
            one = Judged::at_most(id, pointer, Unit::AmpereSquaredSecond, through, Limit::Missing(missing));
        }
        to.require(if unread && !one.fails() { one.blocked() } else { one }, |one| {
            let failure = match (worst, takes) {
                _ if unread && !one.fails() => UNREAD.into(),
                (Some(worst), Some(takes)) => format!(
                    "A fault of {} is off after {} and has let through {}; {} are allowed.",
                    ampere(worst.step_a),
                    second(worst.off_after_s),
                    ampere_squared_second(worst.let_through_a2s),
                    ampere_squared_second(takes)
                ),
                _ => match told {
                    Told::Never(Some(step)) => format!(
                        "A fault of {} stays so near to the threshold in noise that its samples in a row may never come: it is not sure to be opened.",
                        ampere(step)
                    ),
                    _ => "The strongest fault does not reach the threshold with its error: it is never opened.".into(),
                },
            };
            let at = worst.map_or_else(String::new, |worst| format!(", worst at {}", ampere(worst.step_a)));
            let note = match faults.left_from() {
                None => format!("for every step from threshold and error to the strongest fault{at}"),
                Some(from) => format!("for every step from threshold and error to {}; stronger ones are left to a faster function, which is judged apart{at}", ampere(from)),
            };
            Words::new(format!("{label}: I²t until a fault is off"), note, failure)
        });
    }
}
