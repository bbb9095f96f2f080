//! # The states of a temperature reading
//!
//! What comes and goes is a state and no source: it is taken at nothing and at its largest, and never played off against
//! another error. A state has a perfect part's reading, which is known, and the deviations about it.
//!
//! ```text
//! Heat       the sensor at T + h: h = 0 at switch-on, or the equilibrium
//! Leakage    none when dry, or the lowest resistance across the sensor
//! Lag        τ dT/dt, reads low while it gets warmer and high while it cools down; cell to sensor 0 or Rth P. Both only
//!            where the reading is held against the cell; T is the temperature of the sensor's place
//! Read-out   its ambient is its own, the end farther from 25 °C (budget); life at its end, ageing being half-widths
//! Ends do    lag and gradient are added, so that the error is straight in them. The resistance behind the leakage falls
//!            steadily with its conductance, and the reading follows it one way. With heat the error is h + ε(T + h), and ε
//!            changes by far less than 1 K per kelvin. What is known is therefore monotone in each, limits about it change
//!            by a small part of that, and the largest size is at an end
//! Valid      self-heating of a part without deviations
//! Source     JCGM 100:2008 clause 4.1 (measurement model); common practice, no source
//! ```

use super::budget::{CodeModel, Known, ReadingModel, SOURCES, Wired};
use super::curve::Curve;
use super::input::ThermistorInput;
use super::place::Place;
use super::read_out::Deviations;
use crate::propagation::Source;

/// What comes and goes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct State {
    /// Settled in its own heat, or just switched on.
    pub heated: bool,
    /// Whether the leakage is there.
    pub leaking: bool,
    /// 1 while it gets warmer, −1 while it cools down.
    pub lag: f64,
    /// Share of the heat from the cell.
    pub gradient: f64,
}

impl State {
    /// In words, by what is there at all.
    pub fn told(self, input: &ThermistorInput) -> String {
        let mut words = Vec::new();
        if input.body.duty_percent > 0.0 {
            words.push(if self.heated { "settled in its own heat" } else { "just switched on" });
        }
        if input.wiring.leakage_ohm.is_some() {
            words.push(if self.leaking { "leaking" } else { "dry" });
        }
        if input.requirement.with_lag_and_gradient {
            if input.lag_k() > 0.0 {
                words.push(if self.lag > 0.0 { "getting warmer" } else { "cooling down" });
            }
            if input.gradient_k() > 0.0 {
                words.push(if self.gradient > 0.0 { "with heat from the cell" } else { "without heat from the cell" });
            }
        }
        words.join(", ")
    }
}

/// A sensor in a state, as the engine asks it.
#[derive(Clone, Debug)]
pub struct Sensed<'a> {
    /// The error of its reading against the sensor's place or the cell.
    pub model: ReadingModel<'a>,
    /// Its code.
    pub code: CodeModel<'a>,
    /// What of known sign the state adds.
    pub known: Known,
    /// The sources of both.
    pub sources: Vec<Source>,
}

impl ThermistorInput {
    /// Heat and leakage: every way to read the sensor at a place.
    pub fn bases(&self, place: &Place) -> impl Iterator<Item = State> + use<> {
        let heats: &'static [bool] = if place.self_heating_k == Some(0.0) { &[false] } else { &[false, true] };
        let leaks: &'static [bool] = if self.wiring.leakage_ohm.is_some() { &[false, true] } else { &[false] };
        let state =
            move |&heated: &bool| leaks.iter().map(move |&leaking| State { heated, leaking, ..State::default() });
        heats.iter().flat_map(state)
    }

    /// Lag and gradient of a way to read: the ends of what they add.
    pub fn offsets(&self) -> &'static [(f64, f64)] {
        let counts = self.requirement.with_lag_and_gradient && (self.lag_k() > 0.0 || self.gradient_k() > 0.0);
        if counts { &[(1.0, 1.0), (-1.0, 0.0)] } else { &[(0.0, 0.0)] }
    }

    /// What lag and gradient add to a reading, K.
    pub fn offset_k(&self, (lag, gradient): (f64, f64)) -> f64 {
        -lag * self.lag_k() - gradient * self.gradient_k()
    }

    /// The sensor at a place in a state; none where a perfect part would read no temperature.
    pub fn sensed<'a>(&'a self, curve: &'a Curve, place: &Place, state: State) -> Option<Sensed<'a>> {
        let self_heating_k = if state.heated { place.self_heating_k? } else { 0.0 };
        let degc = place.degc + self_heating_k;
        let sensor_ohm = curve.ohm(degc)?;
        let moved = curve.moved(degc, self.curve_tolerance_k(degc))?;
        let read_out = self.read_out();
        let lead_ohm = self.wiring.lead_ohm;
        let leak_s = self.wiring.leakage_ohm.filter(|_| state.leaking).map_or(0.0, |leak| 1.0 / leak);
        let wired_ohm = sensor_ohm / (1.0 + sensor_ohm * leak_s) + lead_ohm;
        let delay_s = self.uncorrected_s();
        let still = Deviations { delay_s, ..Deviations::none() };
        // One after the other, so that the parts add up to the whole.
        let behind_leads = if lead_ohm > 0.0 { curve.degc(sensor_ohm + lead_ohm)? } else { degc };
        let behind_leak = if leak_s > 0.0 { curve.degc(wired_ohm)? } else { behind_leads };
        let read = if delay_s > 0.0 { curve.degc(read_out.there_and_back(wired_ohm, &still))? } else { behind_leak };
        let known = Known {
            lead_k: behind_leads - degc,
            leakage_k: behind_leak - behind_leads,
            delay_k: read - behind_leak,
            self_heating_k,
            lag_k: -state.lag * self.lag_k(),
            gradient_k: -state.gradient * self.gradient_k(),
        };
        let wired = Wired { sensor_ohm, exponent: self.exponent(degc), moved, leak_s, lead_ohm };
        let known_k = known.lead_k + known.leakage_k + known.delay_k;
        Some(Sensed {
            model: ReadingModel { curve, read_out, degc, near_degc: read, wired, delay_s, known_k },
            code: CodeModel { read_out, wired, undisturbed: 0.0, delay_s },
            known,
            sources: self.sources(degc, known),
        })
    }

    /// Parts of the error where nothing deviates, K per unit of each source.
    pub fn slopes(&self, curve: &Curve, place: &Place) -> Option<(Vec<Source>, Vec<f64>)> {
        let sensed = self.sensed(curve, place, State::default())?;
        let (_, slopes) = crate::propagation::gradient(&sensed.model, &[0.0; SOURCES]);
        Some((sensed.sources, slopes))
    }
}
