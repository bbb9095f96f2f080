//! The front end on its own as a chain: the reading is the signal at the sensor.

use super::ConverterInput;
use crate::channel::chain::{Around, Calibration, Calibrator, Chain, ENDS, Each, End, Known, NoSolution};
use crate::channel::full;
use crate::physics::front_end::{CalibrationKind, FrontEnd, FrontState};
use crate::physics::parts::clips_at_v;
use crate::propagation::{Number, Source};
use crate::quantity::Unit;
use crate::work::{Halt, Work};

/// Amplifier and converter between a signal and its reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct SignalChain<'a> {
    pub(super) front_end: FrontEnd<'a>,
    pub(super) input: &'a ConverterInput,
}

impl ConverterInput {
    pub(super) const fn front_end(&self) -> FrontEnd<'_> {
        FrontEnd { amplifier: &self.amplifier, converter: &self.converter }
    }

    /// Full scale of the converter, V at the sensor.
    pub(super) fn full_scale_v(&self) -> f64 {
        self.converter.full_scale_v / self.amplifier.gain
    }
}

impl SignalChain<'_> {
    /// The smallest signal at which some part in some state clips, V, and what clips there. Of a bipolar range the nearer side
    /// counts: a chain that clips on one side only misreads half of the signals.
    pub(super) fn clips(&self, work: Work) -> Result<(f64, &'static str), Halt> {
        let (amplifier, converter) = (self.front_end.amplifier, self.front_end.converter);
        let nominal = clips_at_v(amplifier, converter.full_scale_v, converter.bipolar);
        // A side on which nothing at all is read.
        if nominal.0 <= 0.0 {
            return Ok(nominal);
        }
        let range = full::range(self, work)?;
        let sides = [range.high.map(|end| (end.at, end.first)), range.low.map(|end| (-end.at, end.first))];
        let counted = sides.into_iter().take(if converter.bipolar { 2 } else { 1 }).flatten();
        // The smallest number of all stands for a part that is full at nothing.
        let end = |at: f64| if at > f64::MIN_POSITIVE { at } else { 0.0 };
        Ok(counted.fold(nominal, |least, (at, first)| if at < least.0 { (end(at), first) } else { least }))
    }
}

/// On the bench: at the calibration temperature, new.
const BENCH: FrontState = FrontState { away_k: 0.0, aged: 0.0, in_use: 0.0, fed_v: 0.0 };

impl Chain for SignalChain<'_> {
    const UNIT: Unit = Unit::Volt;
    type State = FrontState;

    fn sources(&self) -> Vec<Source> {
        self.front_end.sources()
    }

    #[inline]
    fn reading<N: Number>(&self, x: N, state: &FrontState, d: &[N]) -> N {
        self.front_end.read(x, state, d)
    }

    #[inline]
    fn driven<N: Number>(&self, x: N, state: &FrontState, d: &[N]) -> [N; ENDS] {
        self.front_end.driven(x, state, d)
    }

    fn ends(&self) -> [End; ENDS] {
        FrontEnd::ENDS.map(End)
    }

    fn reads_below_zero(&self) -> bool {
        self.front_end.reads_below_zero()
    }

    fn each(&self) -> Each {
        let rounding = self.front_end.lsb_v() / 2.0;
        Each { nonlinear: self.front_end.nonlinear_v(), slope: None, rounding, noise: 0.0 }
    }

    /// Every deviation is straight in the distance from the calibration temperature: the ends hold what lies between.
    fn ambients(&self) -> Vec<f64> {
        vec![self.input.ambient_min_degc, self.input.ambient_max_degc]
    }

    fn states(&self, around: &Around, to: &mut Vec<Result<Option<FrontState>, NoSolution>>) {
        let away_k = around.ambient_degc - self.input.calibration_degc;
        let (aged, most_v) = (f64::from(u8::from(around.aged)), self.front_end.fed_v());
        let state = |share: &f64| FrontState { away_k, aged, in_use: 1.0, fed_v: share * most_v };
        to.extend(self.front_end.fed_ends().iter().map(|share| Ok(Some(state(share)))));
    }

    fn places(&self) -> Vec<f64> {
        self.input.signal_v.clone()
    }

    /// Nothing is required of the error here.
    fn allowed(&self, _: f64) -> Option<f64> {
        None
    }

    fn calibration(&self, _: &FrontState) -> Calibration<FrontState> {
        let point = |x: f64| Known { x, state: BENCH, independent: 0.0, noise: 0.0, rounded: true };
        match self.input.calibration.kind {
            CalibrationKind::None => Calibration::None,
            CalibrationKind::Offset => Calibration::Offset(point(0.0)),
            CalibrationKind::TwoPoint => Calibration::Two([point(0.0), point(self.input.full_scale_v())]),
        }
    }

    fn calibrator(&self) -> Calibrator {
        let with = &self.input.calibration;
        let gain = if with.kind == CalibrationKind::TwoPoint { with.gain_residual_percent / 100.0 } else { 0.0 };
        Calibrator { gain, offset: with.offset_residual_v }
    }
}
