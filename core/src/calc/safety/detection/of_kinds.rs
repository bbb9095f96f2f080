//! # Each kind of check as limits, errors and noise
//!
//! ```text
//! Difference     L (+ share of the reading), e_A + e_B, known difference ± |dx/dt| t_skew; a range: the distance from the true
//!                value to its end; a sum of N cells: e_B = N e_cell, known −I R between the taps, skew R dI/dt
//! Rate           over n intervals T: limit L n T, known ±s n T, noise √2 σ; of a step that a window W spreads one interval
//!                shows the half, or T/W; behind a low-pass (1 − a)/(2 − a), a = e^(−T/τ): at the least convenient moment
//! Open wire      v = It Rd (r + 2 Rf)/(Rd + r + 2 Rf) above L; of a thermistor v = It R; settled after 5 Rd C
//! Heat           Rth (R' I² − R I_read²) beyond L; a body of time constant τ
//! Steps          ΔV/ΔI beyond its ends: of the lowest resistance upwards, of the highest downwards
//! Closure        two anchors of error e_S an interval t apart: L/t, errors o and 2 e_S Q/t as a current; what begins between two
//!                anchors is there in full at the one after
//! Clock          share of the frequency: L, errors of both clocks
//! Symbols        s largest slope in normal use, r joint, Rd across the input, Rf one leg, It test current, Rth and R of the shunt
//! Valid          the open wire by the difference of readings with and without the test current; heat when the current has stood
//! Source         Ohm's law, one thermal body; the rest follows from the definitions; kinds of check: common practice, no source
//! ```

use super::Sight;
use crate::calc::safety::input::{CheckKind, HeldAgainst, Reads, SafetyCheck, SafetyInput};
use crate::physics::beta::beta_ohm;
use crate::physics::network::parallel;

/// Time constants to a test that has settled.
const SETTLED: f64 = 5.0;

/// Where a check looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Where {
    /// At a true value, where it is known: what it sees of a fault there.
    At(Option<f64>),
    /// Over the whole range of the quantity: what it does without a fault.
    Anywhere,
}

impl Sight {
    /// A check as numbers: its reading errs no less, and is no less noisy, than the channel that is described. Nothing where
    /// something is not given.
    pub fn of(input: &SafetyInput, check: &SafetyCheck, place: Where) -> Option<Self> {
        let between = match place {
            Where::At(at) => at.map(|at| [at, at]),
            Where::Anywhere => input.between(check.reads),
        };
        let blank = Self {
            limits: [f64::INFINITY; 2],
            errors: [0.0; 2],
            known: [0.0; 2],
            noise: Some(0.0),
            z: check.noise_sigma,
            once: false,
            spread: 1.0,
            averaging_s: check.averaging_s,
            low_pass_s: check.low_pass_s,
            slow_s: 0.0,
            grows: f64::INFINITY,
            interval_s: check.interval_s,
            in_a_row: check.in_a_row,
            processing_s: check.processing_s,
        };
        match check.kind {
            // Frames that are so late as the time-out and an interval are half of what is late for certain.
            CheckKind::Communication => {
                let time_out_s = check.time_out_s.filter(|_| place != Where::Anywhere)?;
                Some(Self {
                    limits: [0.5; 2],
                    averaging_s: 0.0,
                    low_pass_s: 0.0,
                    in_a_row: 1,
                    processing_s: check.processing_s + time_out_s,
                    ..blank
                })
            }
            CheckKind::StuckCode => (place != Where::Anywhere).then_some(Self {
                limits: [0.5; 2],
                averaging_s: 0.0,
                low_pass_s: 0.0,
                in_a_row: check.equal_codes,
                ..blank
            }),
            CheckKind::Comparison | CheckKind::SumOfCells | CheckKind::ReferenceTest => {
                difference(input, check, blank, [fixed(check, between)?; 2])
            }
            CheckKind::Range => {
                let ([low, high], [from, to]) = (check.range(), between?);
                if low.is_none() && high.is_none() {
                    return None;
                }
                let limits =
                    [low.map_or(f64::INFINITY, |low| from - low), high.map_or(f64::INFINITY, |high| high - to)];
                difference(input, check, blank, limits)
            }
            CheckKind::Rate => rate(input, check, blank),
            CheckKind::OpenWire => open_wire(input, check, blank),
            CheckKind::CurrentHeat => {
                let [own, other] = check.errors();
                let [noise, _] = check.noises();
                let errors = [own?, other.unwrap_or(0.0)];
                Some(Self { limits: [check.limit(0.0)?; 2], errors, noise, ..blank })
            }
            CheckKind::StepResistance => {
                let [least, most] = [check.resistance_low_ohm?, check.resistance_high_ohm?];
                let [low, high] = [check.low_ohm, check.high_ohm];
                if low.is_none() && high.is_none() {
                    return None;
                }
                // What is seen for certain is seen of the least convenient resistance; without a fault either may be there.
                let [down, up] = if place == Where::Anywhere { [least, most] } else { [most, least] };
                let limits =
                    [low.map_or(f64::INFINITY, |low| down - low), high.map_or(f64::INFINITY, |high| high - up)];
                let errors = [check.error_ohm?, 0.0];
                Some(Self { limits, errors, noise: step_noise(input, check, most), ..blank })
            }
            CheckKind::Closure => {
                let hours = check.interval_s / 3600.0;
                let anchored = 2.0 * check.anchor_percent? / 100.0 * check.capacity_ah? / hours;
                let own = larger(check.errors()[0], input.channel_error(check.reads))?;
                // What is lost of the interval in which it begins may be missing at the next anchor.
                let averaging_s = check.interval_s;
                Some(Self { limits: [check.limit_ah? / hours; 2], errors: [own, anchored], averaging_s, ..blank })
            }
            CheckKind::ClockTest => Some(Self {
                limits: [check.limit_percent?; 2],
                errors: [check.error_percent?, check.other_error_percent?],
                ..blank
            }),
        }
    }
}

/// The larger of what is typed and what the channel says; one of them must be there.
fn larger(typed: Option<f64>, channel: Option<f64>) -> Option<f64> {
    [typed, channel].into_iter().flatten().reduce(f64::max)
}

/// The limit of a difference where it is smallest.
fn fixed(check: &SafetyCheck, between: Option<[f64; 2]>) -> Option<f64> {
    if between.is_none() && check.limit_percent.is_some() {
        return None;
    }
    let apart = between.filter(|[from, to]| from * to > 0.0);
    let at = apart.map_or(0.0, |[from, to]| from.abs().min(to.abs()));
    check.limit(at)
}

fn difference(input: &SafetyInput, check: &SafetyCheck, blank: Sight, limits: [f64; 2]) -> Option<Sight> {
    let [own, other] = check.errors();
    let [noise, beside] = check.noises();
    let with = |of: Option<f64>| of.filter(|_| check.kind.reads_the_channel());
    let own = larger(own, with(input.channel_error(check.reads)));
    let noise = larger(noise, with(input.channel_noise(check.reads)));
    let other = match check.cell_error_v.filter(|_| check.kind == CheckKind::SumOfCells) {
        Some(each) => Some(each * input.voltage.cells?),
        None => other,
    };
    // A limit that is a share of the other reading errs with it.
    let other = other.map(|other| other * (1.0 + check.limit_percent.unwrap_or(0.0) / 100.0));
    Some(Sight {
        limits,
        // Only where two channels are compared there must be another error.
        errors: [own?, if check.kind.has_partner() { other? } else { other.unwrap_or(0.0) }],
        known: known(input, check)?,
        noise: noise.and_then(|own| match beside {
            None if check.kind.has_partner() => None,
            beside => Some(own.hypot(beside.unwrap_or(0.0))),
        }),
        ..blank
    })
}

/// The known difference: what is typed, what a skew in time makes of the largest slope, the drop between the taps of the
/// cells and those of the pack.
fn known(input: &SafetyInput, check: &SafetyCheck) -> Option<[f64; 2]> {
    let [mut low, mut high] = check.known();
    let drop = check.drop_ohm.filter(|_| check.kind == CheckKind::SumOfCells);
    if let Some(ohm) = drop {
        let left = ohm * check.drop_left_percent / 100.0;
        // −I R of the current that is left: discharge takes from the pack's reading, charge adds.
        low -= left * input.current.peak_a?;
        high += left * input.current.charge_peak_a?;
    }
    if check.skew_s > 0.0 && check.kind.has_partner() {
        let dropped = drop.and_then(|ohm| Some(ohm * check.slope_a_per_s?));
        let slopes = [check.slope(), dropped];
        let slope = slopes.into_iter().flatten().reduce(|one, other| one + other)?;
        low -= slope * check.skew_s;
        high += slope * check.skew_s;
    }
    Some([low, high])
}

fn rate(input: &SafetyInput, check: &SafetyCheck, blank: Sight) -> Option<Sight> {
    let (limit, slope) = (check.rate()?, check.slope()?);
    let over_s = f64::from(check.in_a_row) * check.interval_s;
    let noise = larger(check.noises()[0], input.channel_noise(check.reads));
    // After one sample beyond the limit the next one stands beside it.
    let blind = check.in_a_row > 1 && check.held_against == HeldAgainst::LastSample;
    let averaged = if check.averaging_s > 0.0 { (check.averaging_s / check.interval_s).max(2.0) } else { 1.0 };
    let left = if check.low_pass_s > 0.0 { libm::exp(-check.interval_s / check.low_pass_s) } else { 0.0 };
    let filtered = if check.low_pass_s > 0.0 { (2.0 - left) / (1.0 - left) } else { 1.0 };
    let spread = averaged * filtered;
    Some(Sight {
        limits: [limit * over_s; 2],
        known: [-slope * over_s, slope * over_s],
        noise: noise.map(|noise| std::f64::consts::SQRT_2 * noise),
        once: true,
        spread: if blind { f64::INFINITY } else { spread },
        averaging_s: 0.0,
        low_pass_s: 0.0,
        // The first look after the fault may come too soon; the second has all that one interval shows.
        processing_s: check.processing_s + if spread > 1.0 { check.averaging_s.max(check.interval_s) } else { 0.0 },
        ..blank
    })
}

fn open_wire(input: &SafetyInput, check: &SafetyCheck, blank: Sight) -> Option<Sight> {
    let [own, other] = check.errors();
    let [noise, _] = check.noises();
    let test_a = check.test_current_a?;
    // Without a fault the wires have the filter, a thermistor its largest resistance.
    let (healthy_v, settles_s) = match check.reads {
        Reads::Temperature => {
            let with = &input.temperature;
            (test_a * beta_ohm(with.r25_ohm?, with.beta_k?, with.coldest_degc?), 0.0)
        }
        _ => {
            let (across, filter) = (input.current.input_ohm?, 2.0 * input.current.leg_ohm?);
            (test_a * parallel(across, filter), SETTLED * across * input.current.filter_farad?)
        }
    };
    Some(Sight {
        limits: [f64::INFINITY, check.limit(0.0)?],
        errors: [own?, other.unwrap_or(0.0)],
        known: [0.0, healthy_v],
        noise,
        processing_s: check.processing_s + settles_s,
        ..blank
    })
}

/// Noise of a resistance from two readings of voltage and two of current.
fn step_noise(input: &SafetyInput, check: &SafetyCheck, ohm: f64) -> Option<f64> {
    let [of_v, of_a] = step_noises(input, check)?;
    Some(std::f64::consts::SQRT_2 * of_v.hypot(ohm * of_a) / check.step_a?)
}

/// The noises of voltage and current from which a step makes a resistance: no less than those of the channels.
pub fn step_noises(input: &SafetyInput, check: &SafetyCheck) -> Option<[f64; 2]> {
    let of_v = larger(check.noise_v, input.channel_noise(Reads::Voltage))?;
    Some([of_v, larger(check.noise_a, input.channel_noise(Reads::Current))?])
}
