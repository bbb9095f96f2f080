//! The current channel as a measurement model and its limits at corners.

use super::ChannelInput;
use crate::channel::corners::Corners;
use crate::channel::{Experiment, JudgedBy};
use crate::physics::front_end::{CalibrationKind, FrontEnd, Life, SOURCES};
use crate::physics::parts::clips_at_v;
use crate::propagation::{Kind, Model, Number, Source};
use crate::quantity::Unit;

/// Stage of the shunt's sources in budgets.
pub(super) const SHUNT: &str = "Shunt";

/// The reading error at one current and one corner, A.
#[derive(Clone, Copy, Debug)]
pub(super) struct ChannelModel<'a> {
    front_end: FrontEnd<'a>,
    resistance_ohm: f64,
    current_a: f64,
}

/// Number of sources of the shunt, before those of the front end.
const SHUNT_SOURCES: usize = 6;

impl Model for ChannelModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let gains = (x[0] + 1.0) * (x[1] + x[2] + 1.0) * (x[3] + 1.0) * (x[4] + 1.0);
        let volt = gains * (self.current_a * self.resistance_ohm) + x[5];
        self.front_end.read(volt, &x[SHUNT_SOURCES..]) / self.resistance_ohm - self.current_a
    }
}

/// Number of all sources.
pub(super) const COUNT: u64 = (SHUNT_SOURCES + SOURCES) as u64;

/// Place of the curve's known change among the sources; its spread is the next one.
const CURVE: usize = 1;

impl ChannelInput {
    pub(super) const fn front_end(&self) -> FrontEnd<'_> {
        FrontEnd { amplifier: &self.amplifier, converter: &self.converter, calibration: &self.calibration }
    }

    /// The ambient of the shunt: its extra heat counts fully at the hot end and not at all at the cold end.
    pub(super) fn shunt_ambient(&self, ambient_degc: f64) -> f64 {
        let with = &self.conditions;
        let span = with.ambient_max_degc - with.ambient_min_degc;
        let share = if span > 0.0 { (ambient_degc - with.ambient_min_degc) / span } else { 1.0 };
        ambient_degc + with.shunt_extra_k * share
    }

    /// The largest signal at the shunt, V, and what clips there.
    pub(super) fn clips_at_v(&self) -> (f64, &'static str) {
        clips_at_v(&self.amplifier, self.converter.full_scale_v, self.converter.bipolar)
    }
}

impl Corners for &ChannelInput {
    const UNIT: Unit = Unit::Ampere;
    const ERROR: &'static str = "current-channel.error";
    const STATISTICAL: &'static str = "current-channel.statistical";
    const UNDEFINED: [&'static str; 2] = [
        "no steady temperature: thermal runaway",
        "the shunt has no steady temperature, so no error can be given there.",
    ];

    fn model(&self, current_a: f64) -> impl Model {
        ChannelModel { front_end: self.front_end(), resistance_ohm: self.shunt.resistance_ohm, current_a }
    }

    /// The ends, the calibration temperature, and an even sweep between the ends.
    fn ambients(&self) -> Vec<f64> {
        let with = &self.conditions;
        let (low, high) = (with.ambient_min_degc, with.ambient_max_degc);
        let mut ambients: Vec<f64> = (0..=32)
            .map(|step| low + (high - low) * f64::from(step) / 32.0)
            .chain([with.calibration_degc])
            .filter(|degc| low <= *degc && *degc <= high)
            .collect();
        ambients.sort_by(f64::total_cmp);
        ambients.dedup();
        ambients
    }

    /// The ambient at which the element sits on the vertex of its curve.
    fn own_ambient(&self, current_a: f64) -> Option<f64> {
        let (shunt, curve) = (&self.shunt, self.shunt.curve());
        let vertex = curve.vertex_degc()?;
        let resistance = shunt.resistance_ohm * (1.0 + curve.change(vertex));
        Some(vertex - shunt.thermal_resistance_k_per_w * current_a * current_a * resistance)
    }

    fn sources(&self, ambient_degc: f64, life: Life) -> Vec<Source> {
        let shunt = &self.shunt;
        let two_point = life.calibrated && self.calibration.kind == CalibrationKind::TwoPoint;
        let source = |id: &'static str, label: &'static str, kind: Kind, unit: &'static str, limit: f64| {
            Source::limit(id, label, SHUNT, kind, unit, limit)
        };
        let drift = if life.end_of_life { shunt.life_drift_percent / 100.0 } else { 0.0 };
        let tap = if two_point { 0.0 } else { shunt.sense_position_error_ohm / shunt.resistance_ohm };
        let emf = shunt.emf_v_per_k * shunt.end_temperature_difference_k;
        let gain = if two_point {
            let left = self.calibration.gain_residual_percent / 100.0;
            source("gain.left", "Gain left after calibration", Kind::Initial, "1", left)
        } else {
            source("shunt.tolerance", "Shunt tolerance", Kind::Initial, "1", shunt.tolerance_percent / 100.0)
        };
        let mut sources = Vec::with_capacity(SHUNT_SOURCES + SOURCES);
        sources.extend([
            gain,
            source("shunt.curve", "Resistance-temperature curve and self-heating", Kind::Temperature, "1", 0.0),
            source("shunt.curve-spread", "Spread of the temperature coefficient", Kind::Temperature, "1", 0.0),
            source("shunt.tap", "Tap position", Kind::Initial, "1", tap),
            source("shunt.ageing", "Shunt ageing", Kind::Life, "1", drift),
            source("shunt.emf", "Thermal EMF", Kind::Temperature, "V", emf),
        ]);
        sources.extend(self.front_end().sources((ambient_degc - self.conditions.calibration_degc).abs(), life));
        sources
    }

    /// The current heats the element, and the curve follows.
    fn put(&self, current_a: f64, ambient_degc: f64, _: Life, sources: &mut [Source]) -> Option<()> {
        let shunt = &self.shunt;
        let state = shunt.at(current_a, self.shunt_ambient(ambient_degc))?;
        let [curve, spread] = sources.get_mut(CURVE..CURVE + 2)? else { return None };
        curve.estimate = state.change;
        spread.limit = shunt.tcr_tolerance_ppm_per_k * 1e-6 * (state.element_degc - shunt.reference_degc).abs();
        Some(())
    }

    fn allowed(&self, current_a: f64) -> Option<f64> {
        let with = &self.requirement;
        with.form.allowed(with.gain_percent, with.offset_a, current_a, self.load.full_scale_a)
    }

    fn full(&self) -> (f64, &'static str) {
        let (volt, first) = self.clips_at_v();
        (volt / self.shunt.resistance_ohm, first)
    }

    fn judged_by(&self) -> JudgedBy {
        self.requirement.judged_by
    }

    fn calibration(&self) -> CalibrationKind {
        self.calibration.kind
    }

    fn experiment(&self) -> &Experiment {
        &self.experiment
    }
}
