//! # The window of a threshold
//!
//! From the highest value of allowed operation the error and the kept noise reach up; from the hazard the error, the rise
//! during the reaction and what the sensor lags behind reach down. A threshold between the two holds both sides. For an
//! under-limit everything is mirrored.
//!
//! ```text
//! Formula    over:  low = x_n + e_n + z u,  high = x_h − e_h − r (t_d + τ) − D − P R_th;  width = high − low
//!            under: high = x_n − e_n − z u − P R_th,  low = x_h + e_h + r (t_d + τ) + D
//!            used = (e_n + z u + e_h + r (t_d + τ) + D + P R_th)/|x_h − x_n|
//! Symbols    x_n normal extreme, x_h hazard, e_n, e_h error limits at these points, u noise of one sample (rms); z sigma
//!            that are kept, at least those for the allowed nuisance rate; r largest slope towards the hazard, t_d further
//!            times, τ lag of the sensor on a ramp; D what the first complete row takes on the ramp in all but the allowed
//!            share of the cases, at least r n/f_s; P R_th [K] by how much the sensor is colder than the heated cell
//! Under load a limit V_th − I R_f that follows the current: I (R_max − R_f) + e_I R_f on the side of operation,
//!            I (R_f − R_min) + e_I R_f on that of the hazard, neither below e_I R_f: the current may be nothing
//! Gradient   a heated cell is warmer than its sensor: over-temperature is seen late, under-temperature too early. So
//!            P R_th stands on the side of the hazard above and on the side of operation below; the width is the same
//! Range      the channel must still read the threshold with its error, at either end
//! Valid      monotonic quantity; slope constant during the reaction; lag after more than three time constants
//! Source     sum of limits on both sides: common practice, no source; guard bands in the sense of JCGM 106:2012 clause 8;
//!            noise: `rows` and `ramp`
//! ```

use std::sync::Arc;

use super::noise_cost::NoiseCost;
use super::output::{ThresholdConsumed, ThresholdJudged, ThresholdRelease, VoltageSag};
use super::rows::{Autocorrelation, Noise};
use super::sag::{Sag, Side};
use super::wait::Wait;
use super::{ErrorMethod, risk};
use crate::field::FieldError;
use crate::judge::{Judged, Limit, Outcome, Sense, passes};
use crate::quantity::{Quantity, Unit, hertz, say_among, say_difference};
use crate::work::{Halt, Work};

const ROOM: &str = "protection.room";
const NUISANCE_SIDE: &str = "protection.nuisance-side";
const PACK_PEAK: &str = "protection.pack-peak";
/// The requirements that keep a threshold from tripping falsely: a hazard does not wait for them.
pub const OF_OPERATION: &[&str] = &[ROOM, NUISANCE_SIDE, PACK_PEAK];

/// Why a threshold beyond its channel is not judged further.
pub(super) const UNREAD: &str = "the threshold with its error lies beyond what its channel reads";

/// The faults that a threshold has to open, and what carries them.
#[derive(Clone, Copy, Debug)]
pub struct Faults {
    /// The strongest fault, A.
    pub strongest_a: Option<f64>,
    /// From where on a faster function opens, A.
    pub faster_from_a: Option<f64>,
    /// The threshold of the reaction race behind it, and the highest at which that trips, A.
    pub race_a: Option<[f64; 2]>,
    /// The weakest fault that this race judges, A.
    pub race_weakest_a: Option<f64>,
    /// Whether the pack feeds them, as it feeds those of a race.
    pub fed_by_pack: bool,
    /// The peak of the pack the other way, A, and its input: from there a fault may begin.
    pub backwards: (Option<f64>, &'static str),
    /// The voltage behind it, V.
    pub volt: Option<f64>,
    /// The inductance of its loop, H.
    pub henry: Option<f64>,
    /// What shunt, wire and cells take, A²s.
    pub takes: [Option<f64>; 3],
}

/// A time that passes between the crossing and the opening, or by which the reading lags.
#[derive(Clone, Copy, Debug)]
pub struct Delay {
    pub(super) key: &'static str,
    pub(super) label: &'static str,
    pub(super) seconds: f64,
}

impl Delay {
    /// The same where the lag is that of a filter: its own, or that of the channel where it is longer.
    pub(super) fn filtered(times: [f64; 3], channel: Option<f64>, link: Option<f64>) -> [Self; 4] {
        let [own, processing, opening] = times;
        match channel.filter(|channel| *channel > own) {
            Some(longer) => {
                Self::four("channel_filter_s", "Filter of its channel", [longer, processing, opening], link)
            }
            None => Self::four("filter_s", "Lag of the filter", times, link),
        }
    }

    /// A lag, the processing, the way across the barrier and the opening.
    pub(super) fn four(
        key: &'static str,
        label: &'static str,
        [lag, processing, opening]: [f64; 3],
        link: Option<f64>,
    ) -> [Self; 4] {
        [
            Self { key, label, seconds: lag },
            Self { key: "processing_s", label: "Processing", seconds: processing },
            Self { key: "link_s", label: "Latency of the link", seconds: link.unwrap_or(0.0) },
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
    pub(super) noise_is: Autocorrelation,
    pub(super) noise_hz: Option<f64>,
    // Samples that trip, samples a second, slope towards the hazard; further times, the lag of the sensor among them.
    pub(super) in_a_row: u32,
    pub(super) sample_hz: f64,
    pub(super) rate: f64,
    pub(super) delays: [Delay; 4],
    // Temperatures alone.
    pub(super) gradient: Option<Gradient>,
    // What is proposed, and from how many nuisance trips on they are too many.
    pub(super) threshold: Option<f64>,
    // The smallest and the largest reading of its channel, and the pointers of their inputs.
    pub(super) reads_from: Option<f64>,
    pub(super) reads_to: Option<f64>,
    pub(super) range: [&'static str; 2],
    // What the pack itself does in operation, ripple included.
    pub(super) pack_peak: Option<f64>,
    pub(super) hysteresis: Option<f64>,
    pub(super) allowed_nuisance_per_hour: f64,
    // The share of cases in which the hazard may be passed at opening.
    pub(super) missed_share: f64,
    // Whether a reaction race judges the side of the hazard.
    pub(super) raced: bool,
    // Under load, voltages alone.
    pub(super) sag: Sag,
    // Currents alone.
    pub(super) faults: Option<Faults>,
}

/// The fields whose names carry the unit.
#[derive(Clone, Copy, Debug)]
pub struct Pointers {
    pub(super) hazard: &'static str,
    pub(super) rate: &'static str,
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
        let (hazard, rate, threshold, hysteresis) = match self.unit {
            Unit::Celsius => ("/hazard_degc", "/rate_k_per_s", "/threshold_degc", "/hysteresis_k"),
            Unit::Ampere => ("/hazard_a", "/rate_a_per_s", "/threshold_a", "/hysteresis_a"),
            _ => ("/hazard_v", "/rate_v_per_s", "/threshold_v", "/hysteresis_v"),
        };
        Pointers { hazard, rate, threshold, hysteresis }
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

    /// A hazard on the wrong side, a bandwidth that says nothing.
    pub fn contradictions(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if !(self.span() > 0.0) {
            let (side, word) = if self.over { ("above", "highest") } else { ("below", "lowest") };
            faults.push(FieldError::contradiction(
                self.at().hazard,
                format!("The hazard lies inside allowed operation: enter a value {side} the {word} normal value."),
                format!("{side} {}", self.value(self.normal)),
                self.value(self.hazard),
            ));
        }
        if let (Some(least), Some(most)) = (self.sag.smallest_ohm, self.sag.largest_ohm) {
            let at = "/sag_resistance_ohm";
            let message = "The largest resistance under load lies below the smallest.";
            faults.extend(FieldError::below(at, message, Some(most), least, Unit::Ohm));
        }
        if let (Autocorrelation::White, Some(hz)) = (self.noise_is, self.noise_hz) {
            faults.push(FieldError::contradiction(
                "/noise_bandwidth_hz",
                "A bandwidth alone does not say how neighbouring samples hang together: choose one pole or a Gaussian spectrum, or leave it empty for white noise.",
                "nothing, or another kind of noise",
                hertz(hz),
            ));
        }
        faults
    }

    /// The noise as it is sampled; where its frequency is not given it is worked out as white and not judged.
    pub(super) fn sampled(&self) -> Noise {
        let (kind, hz) = self.noise_hz.map_or((Autocorrelation::White, 0.0), |hz| (self.noise_is, hz));
        Noise { rms: self.noise, kind, hz, in_a_row: self.in_a_row, sample_hz: self.sample_hz }
    }

    /// What is needed and not given.
    pub fn missing(&self) -> Option<&'static str> {
        self.noise_missing().or_else(|| self.sag.missing().filter(|_| !self.over))
    }

    fn noise_missing(&self) -> Option<&'static str> {
        let coloured = self.noise > 0.0 && self.noise_is != Autocorrelation::White;
        (coloured && self.noise_hz.is_none()).then_some("/noise_bandwidth_hz")
    }

    /// What a side needs of the voltage under load and does not have.
    fn sag_missing(&self, side: Side) -> Option<&'static str> {
        self.sag.missing_on(side).filter(|_| !self.over)
    }

    /// What takes the room.
    fn consumed(&self, cost: &NoiseCost) -> ThresholdConsumed {
        let noise = self.sigma.max(cost.sigma) * self.noise;
        let reaction = self.rate * self.time_s();
        let noise_hazard = cost.distance.0 - cost.ramp.quiet();
        let gradient = self.gradient.map(|gradient| gradient.power_w * gradient.k_per_w);
        let colder = gradient.unwrap_or(0.0);
        let sags = !self.over && self.sag.current_a.is_some();
        let [sag_normal, sag_hazard] = if sags { self.sag.takes() } else { [0.0; 2] };
        let (on_normal, on_hazard) = if self.over { (0.0, colder) } else { (colder, 0.0) };
        let error_hazard = self.error_hazard.unwrap_or(self.error_normal);
        let nuisance_side = self.error_normal + noise + on_normal + sag_normal;
        let harm_side = error_hazard + reaction + noise_hazard + on_hazard + sag_hazard;
        ThresholdConsumed {
            error_normal: self.error_normal,
            error_hazard,
            noise,
            noise_sigma: self.sigma.max(cost.sigma),
            reaction,
            noise_hazard,
            gradient,
            sag_normal: sags.then_some(sag_normal),
            sag_hazard: sags.then_some(sag_hazard),
            nuisance_side,
            harm_side,
            total: nuisance_side + harm_side,
        }
    }
}

/// The two edges; the span is positive.
#[derive(Clone, Debug)]
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
    cost: Arc<NoiseCost>,
}

impl Window {
    /// The window of a threshold.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn of(terms: Terms, work: Work) -> Result<Self, Halt> {
        let others = [terms.rate, terms.allowed_nuisance_per_hour, terms.missed_share];
        // A fault may stay a little above the threshold; what follows a slope does not.
        let stays = terms.faults.as_ref().is_some_and(|faults| faults.strongest_a.is_some());
        let cost = NoiseCost::of(terms.sampled(), others, stays, work)?;
        let (s, consumed) = (terms.sign(), terms.consumed(&cost));
        let nuisance_edge = terms.normal + s * consumed.nuisance_side;
        let harm_edge = terms.hazard - s * consumed.harm_side;
        Ok(Self { terms, consumed, nuisance_edge, harm_edge, width: s * (harm_edge - nuisance_edge), cost })
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

    /// Whether courses of noise were drawn, so that another noise is dear.
    pub fn is_drawn(&self) -> bool {
        self.cost.ramp.is_drawn()
    }

    /// How long a steady reading waits for its row.
    pub(super) fn wait(&self) -> &Wait {
        &self.cost.wait
    }

    /// Whether there is a room.
    pub fn room(&self) -> Judged {
        let (terms, total) = (&self.terms, self.consumed.total);
        let one =
            Judged::new(ROOM, terms.at().hazard, terms.difference, Sense::Consumed, total, self.limit(terms.span()));
        self.resolved(one, total, terms.span()).without(terms.sag.missing().filter(|_| !terms.over))
    }

    /// Whether the threshold holds the side of allowed operation.
    pub fn nuisance(&self) -> Judged {
        let Terms { difference, normal, .. } = self.terms;
        let left = self.terms.sign() * (self.threshold() - normal);
        let (at, limit) = (self.terms.at().threshold, self.limit(left));
        let one = Judged::new(NUISANCE_SIDE, at, difference, Sense::Consumed, self.consumed.nuisance_side, limit);
        one.without(self.terms.sag_missing(Side::Operation))
    }

    /// Whether the threshold holds the side of the hazard.
    pub fn harm(&self) -> Judged {
        let Terms { difference, hazard, .. } = self.terms;
        let left = self.terms.sign() * (hazard - self.threshold());
        let (at, limit) = (self.terms.at().threshold, self.limit(left));
        let one = Judged::new("protection.harm-side", at, difference, Sense::Consumed, self.consumed.harm_side, limit);
        self.resolved(one, self.consumed.harm_side, left).without(self.terms.sag_missing(Side::Hazard))
    }

    /// Whether what the pack itself does stays off the threshold; nothing where that is not known.
    pub fn pack_peak(&self) -> Option<Judged> {
        let Terms { difference, pack_peak, .. } = self.terms;
        let left = self.terms.sign() * (self.threshold() - pack_peak?);
        let (at, limit) = (self.terms.at().threshold, self.unchosen().map_or_else(|| self.limit(left), Limit::Missing));
        let one = Judged::new(PACK_PEAK, at, difference, Sense::Consumed, self.consumed.nuisance_side, limit);
        Some(one.without(self.terms.sag_missing(Side::Operation)))
    }

    /// The lowest and the highest reading at which it trips: with its error, and as low as a limit that follows the current.
    pub(super) fn trips_between(&self) -> (f64, f64) {
        let error = self.consumed.error_normal.max(self.consumed.error_hazard);
        let follows = if self.terms.over { 0.0 } else { self.terms.sag.lowers() };
        (self.threshold() - error - follows, self.threshold() + error)
    }

    /// Whether the channel still reads the threshold with its error at both ends: at the end towards the hazard it must.
    pub fn range(&self) -> Judged {
        let terms = &self.terms;
        let (low, high) = self.trips_between();
        let below = terms.reads_from.map(|from| passes(from, low));
        let above = terms.reads_to.map(|to| passes(high, to));
        let wrong = below == Some(true) || above == Some(true);
        let mut one = Judged::never("protection.beyond-range", terms.at().threshold, wrong);
        let (needed, pointer) = if terms.over { (above, terms.range[1]) } else { (below, terms.range[0]) };
        let unread = (needed.is_none() && !wrong).then_some(pointer);
        if let Some(pointer) = self.unchosen().or(unread) {
            one.outcome = Outcome::NotJudged(pointer);
        }
        // How far a limit follows the current is not known without it.
        let under = terms.sag.follows_ohm.is_some_and(|ohm| ohm > 0.0).then(|| terms.sag_missing(Side::Operation));
        one.without(under.flatten().filter(|missing| *missing != "/sag_resistance_ohm"))
    }

    /// The threshold, where nobody has chosen one and none serves both sides: the middle between the edges is no threshold then.
    fn unchosen(&self) -> Option<&'static str> {
        let none = !self.terms.raced && self.terms.threshold.is_none() && self.room().fails();
        none.then_some(self.terms.at().threshold)
    }

    /// What is left, or what is missing to tell of the noise.
    fn limit(&self, left: f64) -> Limit {
        self.terms.noise_missing().map_or(Limit::Given(left), Limit::Missing)
    }

    /// Where drawn courses cannot tell, more of them would: their number falls with the square of what is left.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive and bounded")]
    fn resolved(&self, mut one: Judged, consumed: f64, left: f64) -> Judged {
        let unsure = self.cost.distance.0 - self.cost.distance.1;
        if let Outcome::Used(used) = one.outcome
            && one.fails()
            && unsure > 0.0
            && left > 0.0
            && !passes(consumed - unsure, left)
        {
            let over = (consumed - left) / unsure;
            let trials = (f64::from(super::ramp::COURSES) / (over * over).max(1e-3)).min(1e9);
            one.outcome = Outcome::NotResolved { low: (consumed - unsure) / left, high: used, trials: trials as u64 };
        }
        one
    }

    /// A threshold that does not follow the current, under it; for an under-voltage.
    pub fn sag(&self) -> Option<VoltageSag> {
        let sag = self.terms.sag;
        let (largest_ohm, current_a) = sag.largest()?;
        let (at_rest_v, sag_v) = (self.threshold(), largest_ohm * current_a);
        (!self.terms.over).then_some(VoltageSag {
            sag_v,
            at_rest_v,
            under_load_v: at_rest_v - sag.follows_ohm.unwrap_or(largest_ohm) * current_a,
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
        let per_hour = self.nuisance_per_hour(free);
        // The reading, without error and noise, at the last moment that still leaves the time to react.
        let late = s * terms.hazard - (consumed.harm_side - consumed.error_hazard - consumed.noise_hazard);
        // What the first complete row may take, with no error.
        let row = s * (terms.hazard - threshold) - (consumed.harm_side - consumed.error_hazard - self.cost.distance.0);
        let short = s * threshold - late;
        let standard = terms.method.standard(consumed.error_hazard).hypot(terms.noise);
        let normal = risk::below(short, standard);
        ThresholdJudged {
            threshold,
            given: terms.threshold.is_some(),
            nuisance_margin: s * (threshold - self.nuisance_edge),
            harm_margin: s * (self.harm_edge - threshold),
            noise_sigma: (terms.noise > 0.0).then(|| free / terms.noise).filter(|z| z.is_finite()),
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
            late_percent: self.cost.ramp.late(row - consumed.error_hazard).share * 100.0,
            late_without_error_percent: self.cost.ramp.late(row).share * 100.0,
        }
    }

    /// Nuisance trips an hour where noise alone has to bridge a distance.
    pub fn nuisance_per_hour(&self, distance: f64) -> f64 {
        let noise = self.cost.noise();
        // Where the reading itself is beyond the threshold noise only ever releases it.
        let each = if distance < 0.0 { 1.0 } else { risk::beyond(distance, noise.rms) };
        if noise.rms > 0.0 && each < 1.0 && each > 0.0 {
            return noise.rows(distance / noise.rms).per_hour;
        }
        // Beyond the threshold it stays tripped: once in a row.
        each * 3600.0 * noise.sample_hz / f64::from(noise.in_a_row)
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
