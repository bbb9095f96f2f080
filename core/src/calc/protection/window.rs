//! # The window of a threshold
//!
//! From the highest value of allowed operation the error and the kept noise reach up; from the hazard the error, the rise
//! during the reaction and what the sensor lags behind reach down. A threshold between the two holds both sides. For an
//! under-limit everything is mirrored.
//!
//! ```text
//! Formula    over:  low = x_n + e_n + z u,  high = x_h − e_h − r (t_r + τ) − P R_th;  width = high − low
//!            under: high = x_n − e_n − z u − P R_th,  low = x_h + e_h + r (t_r + τ)
//!            t_r = n/f_s + processing times;  used = (e_n + z u + e_h + r (t_r + τ) + P R_th)/|x_h − x_n|
//! Symbols    x_n normal extreme, x_h hazard, e_n, e_h error limits at these points, u noise of one sample (rms), z sigma
//!            kept, r largest slope towards the hazard, n samples in a row at the rate f_s, τ lag of the sensor on a ramp,
//!            P R_th [K] by how much the sensor is colder than the heated cell
//! Gradient   a heated cell is warmer than its sensor: over-temperature is seen late, under-temperature too early. So
//!            P R_th stands on the side of the hazard above and on the side of operation below; the width is the same
//! Valid      monotonic quantity; slope constant during the reaction; lag after more than three time constants
//! Source     sum of limits on both sides: common practice, no source; guard bands in the sense of JCGM 106:2012 clause 8
//! ```

use super::output::{ThresholdConsumed, ThresholdJudged, ThresholdRelease, VoltageSag};
use super::{ErrorMethod, risk};
use crate::field::FieldError;
use crate::judge::{Judged, Sense};
use crate::quantity::{Quantity, Unit, say_among, say_difference};

/// A time that passes between the crossing and the opening, or by which the reading lags.
#[derive(Clone, Copy, Debug)]
pub struct Delay {
    pub(super) key: &'static str,
    pub(super) label: &'static str,
    pub(super) seconds: f64,
}

impl Delay {
    /// A lag, the processing and the opening.
    pub(super) const fn three(
        key: &'static str,
        label: &'static str,
        [lag, processing, opening]: [f64; 3],
    ) -> [Self; 3] {
        [
            Self { key, label, seconds: lag },
            Self { key: "processing_s", label: "Processing", seconds: processing },
            Self { key: "opening_s", label: "Opening", seconds: opening },
        ]
    }
}

/// By how much the sensor is colder than the cell.
#[derive(Clone, Copy, Debug)]
pub struct Gradient {
    /// Loss of the cell, W.
    pub power_w: f64,
    /// Between cell and sensor, K/W.
    pub k_per_w: f64,
}

/// What one threshold is judged by, in the unit of its quantity; a field has the meaning of the input's row.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    // The function, such as "Cell over-voltage"; whether the hazard lies above; values, differences, slope.
    pub(super) name: &'static str,
    pub(super) over: bool,
    pub(super) unit: Unit,
    pub(super) difference: Unit,
    pub(super) slope: Unit,
    // The extreme of allowed operation, what must never be passed, and the error limits at both.
    pub(super) normal: f64,
    pub(super) hazard: f64,
    pub(super) error_normal: f64,
    pub(super) error_hazard: Option<f64>,
    pub(super) method: ErrorMethod,
    // Noise of one sample, rms, and how many sigma of it are kept.
    pub(super) noise: f64,
    pub(super) sigma: f64,
    pub(super) noise_hz: Option<f64>,
    // Samples that trip, samples a second, slope towards the hazard; further times, the lag of the sensor among them.
    pub(super) in_a_row: u32,
    pub(super) sample_hz: f64,
    pub(super) rate: f64,
    pub(super) delays: [Delay; 3],
    // Temperatures alone.
    pub(super) gradient: Option<Gradient>,
    // What is proposed, and from how many nuisance trips on they are too many.
    pub(super) threshold: Option<f64>,
    // The largest reading of its channel; none where nothing bounds it.
    pub(super) reads_to: Option<f64>,
    pub(super) hysteresis: Option<f64>,
    pub(super) allowed_nuisance_per_hour: f64,
    // Under load, voltages alone, Ω and A.
    pub(super) sag_ohm: Option<f64>,
    pub(super) sag_a: Option<f64>,
}

/// The fields whose names carry the unit.
#[derive(Clone, Copy, Debug)]
pub struct Pointers {
    pub(super) hazard: &'static str,
    pub(super) threshold: &'static str,
    pub(super) hysteresis: &'static str,
}

impl Terms {
    /// +1 when the hazard lies above, −1 when it lies below.
    pub fn sign(&self) -> f64 {
        if self.over { 1.0 } else { -1.0 }
    }

    /// The distance from normal to hazard.
    pub fn span(&self) -> f64 {
        self.sign() * (self.hazard - self.normal)
    }

    /// The time of the samples in a row.
    pub fn debounce_s(&self) -> f64 {
        f64::from(self.in_a_row) / self.sample_hz
    }

    /// All times together.
    pub fn time_s(&self) -> f64 {
        self.debounce_s() + self.delays.iter().map(|delay| delay.seconds).sum::<f64>()
    }

    /// The fields whose names carry the unit.
    pub const fn at(&self) -> Pointers {
        let (hazard, threshold, hysteresis) = match self.unit {
            Unit::Celsius => ("/hazard_degc", "/threshold_degc", "/hysteresis_k"),
            Unit::Ampere => ("/hazard_a", "/threshold_a", "/hysteresis_a"),
            _ => ("/hazard_v", "/threshold_v", "/hysteresis_v"),
        };
        Pointers { hazard, threshold, hysteresis }
    }

    /// A value.
    pub const fn value(&self, value: f64) -> Quantity {
        Quantity::new(value, self.unit)
    }

    /// A difference.
    pub const fn distance(&self, value: f64) -> Quantity {
        Quantity::new(value, self.difference)
    }

    /// A value in words, fine enough to tell it from its neighbours.
    pub fn say(&self, value: f64) -> String {
        say_among(value, self.unit, self.span())
    }

    /// A difference in words.
    pub fn say_difference(&self, value: f64) -> String {
        say_difference(value, self.difference)
    }

    /// A hazard on the wrong side.
    pub fn contradictions(&self) -> Vec<FieldError> {
        if self.span() > 0.0 {
            return Vec::new();
        }
        let (side, word) = if self.over { ("above", "highest") } else { ("below", "lowest") };
        vec![FieldError::contradiction(
            self.at().hazard,
            format!("The hazard lies inside allowed operation: enter a value {side} the {word} normal value."),
            format!("{side} {}", self.value(self.normal)),
            self.value(self.hazard),
        )]
    }

    /// What takes the room.
    fn consumed(&self) -> ThresholdConsumed {
        let noise = self.sigma * self.noise;
        let reaction = self.rate * self.time_s();
        let gradient = self.gradient.map(|gradient| gradient.power_w * gradient.k_per_w);
        let colder = gradient.unwrap_or(0.0);
        let (on_normal, on_hazard) = if self.over { (0.0, colder) } else { (colder, 0.0) };
        let error_hazard = self.error_hazard.unwrap_or(self.error_normal);
        let nuisance_side = self.error_normal + noise + on_normal;
        let harm_side = error_hazard + reaction + on_hazard;
        ThresholdConsumed {
            error_normal: self.error_normal,
            error_hazard,
            noise,
            reaction,
            gradient,
            nuisance_side,
            harm_side,
            total: nuisance_side + harm_side,
        }
    }
}

/// The two edges; the span is positive.
#[derive(Clone, Copy, Debug)]
pub struct Window {
    /// What it is made of.
    pub terms: Terms,
    /// What takes the room.
    pub consumed: ThresholdConsumed,
    /// The edge towards allowed operation.
    pub nuisance_edge: f64,
    /// The edge towards the hazard.
    pub harm_edge: f64,
    /// The room between them; negative when there is none.
    pub width: f64,
}

impl Window {
    /// The window of a threshold.
    pub fn of(terms: Terms) -> Self {
        let (s, consumed) = (terms.sign(), terms.consumed());
        let nuisance_edge = terms.normal + s * consumed.nuisance_side;
        let harm_edge = terms.hazard - s * consumed.harm_side;
        Self { terms, consumed, nuisance_edge, harm_edge, width: s * (harm_edge - nuisance_edge) }
    }

    /// The lower and the upper edge.
    pub const fn edges(&self) -> (f64, f64) {
        let (nuisance, harm) = (self.nuisance_edge, self.harm_edge);
        if self.terms.over { (nuisance, harm) } else { (harm, nuisance) }
    }

    /// The middle between the edges.
    pub fn centre(&self) -> f64 {
        f64::midpoint(self.nuisance_edge, self.harm_edge)
    }

    /// The threshold that is judged: the given one, or the middle between the edges.
    pub fn threshold(&self) -> f64 {
        self.terms.threshold.unwrap_or_else(|| self.centre())
    }

    /// Whether there is a room.
    pub fn room(&self) -> Judged {
        let (at, total) = (self.terms.at(), self.consumed.total);
        Judged::new("protection.room", at.hazard, self.terms.difference, Sense::Consumed, total, self.terms.span())
    }

    /// Whether the threshold holds the side of allowed operation.
    pub fn nuisance(&self) -> Judged {
        self.side("protection.nuisance-side", self.consumed.nuisance_side, self.threshold() - self.terms.normal)
    }

    /// Whether the threshold holds the side of the hazard.
    pub fn harm(&self) -> Judged {
        self.side("protection.harm-side", self.consumed.harm_side, self.terms.hazard - self.threshold())
    }

    fn side(&self, id: &'static str, consumed: f64, up: f64) -> Judged {
        let Terms { difference, .. } = self.terms;
        Judged::new(id, self.terms.at().threshold, difference, Sense::Consumed, consumed, self.terms.sign() * up)
    }

    /// A threshold that does not follow the current, under it; for an under-voltage.
    pub fn sag(&self) -> Option<VoltageSag> {
        let (ohm, ampere) = (self.terms.sag_ohm?, self.terms.sag_a?);
        let (at_rest_v, sag_v) = (self.threshold(), ohm * ampere);
        (!self.terms.over).then_some(VoltageSag {
            sag_v,
            at_rest_v,
            under_load_v: at_rest_v - sag_v,
            fixed_trips_at_v: at_rest_v + sag_v,
            fixed_trips_in_operation: at_rest_v + sag_v > self.terms.normal,
        })
    }

    /// Both risks of a threshold.
    pub fn judge(&self, threshold: f64) -> ThresholdJudged {
        let (terms, consumed, s) = (&self.terms, &self.consumed, self.terms.sign());
        // The distance that noise alone has to bridge, with the error at its limit.
        let free = s * (threshold - terms.normal) - (consumed.nuisance_side - consumed.noise);
        let per_sample = risk::beyond(free, terms.noise);
        let per_hour = risk::nuisance_per_hour(per_sample, terms.in_a_row, terms.sample_hz);
        // The reading, without error and noise, at the last moment that still leaves the time to react.
        let late = s * terms.hazard - (consumed.harm_side - consumed.error_hazard);
        let short = s * threshold - late;
        let standard = terms.method.standard(consumed.error_hazard).hypot(terms.noise);
        let normal = risk::below(short, standard);
        ThresholdJudged {
            threshold,
            given: terms.threshold.is_some(),
            nuisance_margin: s * (threshold - self.nuisance_edge),
            harm_margin: s * (self.harm_edge - threshold),
            noise_sigma: (terms.noise > 0.0).then(|| free / terms.noise).filter(|z| z.is_finite()),
            crossings_per_hour: terms
                .noise_hz
                .filter(|_| terms.noise > 0.0)
                .map(|bandwidth| risk::crossings_per_hour(free / terms.noise, bandwidth)),
            samples_correlated: terms.noise_hz.is_some_and(|bandwidth| risk::correlated(bandwidth, terms.sample_hz)),
            nuisance_per_sample: per_sample,
            nuisance_per_hour: per_hour,
            mean_time_between_s: (per_hour > 0.0).then(|| 3600.0 / per_hour).filter(|time| time.is_finite()),
            missed_probability: if terms.method.is_statistical() {
                normal
            } else {
                risk::below_rectangular(short, consumed.error_hazard, terms.noise)
            },
            missed_probability_normal: normal,
            standard_uncertainty: standard,
        }
    }

    /// Where it is released.
    pub fn release(&self) -> ThresholdRelease {
        let (terms, consumed, s) = (&self.terms, &self.consumed, self.terms.sign());
        let threshold = self.threshold();
        let least = 2.0 * consumed.noise;
        // With the error at its limit a released function must still be reached at the normal extreme.
        let most = s * (threshold - terms.normal) - (consumed.nuisance_side - consumed.noise);
        let value = terms.hysteresis.map(|hysteresis| threshold - s * hysteresis);
        ThresholdRelease {
            value,
            least_hysteresis: least,
            most_hysteresis: most,
            margin: terms.hysteresis.map(|given| most - given),
        }
    }
}
