//! # From resistance to code
//!
//! Divider, oscillator and constant current turn the resistance into a voltage or a frequency and that into a code. The
//! chain is written once: forwards for what is shown, there and back for the error of a reading.
//!
//! ```text
//! Divider     m = R/(R + Rf) with the sensor at ground, Rf/(R + Rf) at supply; code = 2ᴺ m s, s = 1 when ratiometric,
//!             otherwise supply / full scale; codes per kelvin 2ᴺ s m (1 − m) |α|
//! Oscillator  period = k R C + 2 td; gated: code = tg / period; reciprocal: code = fclk n period;
//!             with a reference resistor R = Rref (T − 2 td)/(Tref − 2 td), in which k and C cancel
//! Current     code = 2ᴺ I R / full scale
//! Heat        divider (V/(R + Rf))² R, at most V²/(4 Rf); oscillator V² (r − 1)/((r + 1) · 2 ln r)/R, r = exp(k/2), the
//!             mean square over a half period; current I² R
//! Convention  code c stands for the signal c/2ᴺ of full scale
//! Source      Ohm's law, closed forms; C charging through R between two thresholds
//! ```

use crate::propagation::Number;

use super::input::{Counting, CurrentSource, Divider, Oscillator, ReadOutKind, SensorConverter, Side};

/// What stands between the sensor and its code.
#[derive(Clone, Copy, Debug)]
pub struct ReadOut<'a> {
    /// Which of the three.
    pub kind: ReadOutKind,
    /// The divider.
    pub divider: &'a Divider,
    /// The oscillator.
    pub oscillator: &'a Oscillator,
    /// The current source.
    pub current: &'a CurrentSource,
    /// The converter behind divider or current source.
    pub converter: &'a SensorConverter,
}

/// The deviations of a chain, in the order in which the budget lists them.
#[derive(Clone, Copy, Debug)]
pub struct Deviations<N> {
    /// Of the fixed resistor, the capacitance, the reference resistor or the current: tolerance and drift, as shares.
    pub part: [N; 2],
    /// Of supply against reference, or of k.
    pub reference: N,
    /// Gain error of the converter or error of the clock.
    pub gain: N,
    /// Offset, non-linearity and rounding, in steps.
    pub steps: [N; 3],
    /// The comparator delay beyond what firmware subtracts, s.
    pub delay_s: N,
    /// Rounding of the count of the reference channel, in steps.
    pub reference_step: N,
}

impl Deviations<f64> {
    /// Nothing deviates.
    pub const fn none() -> Self {
        Self { part: [0.0; 2], reference: 0.0, gain: 0.0, steps: [0.0; 3], delay_s: 0.0, reference_step: 0.0 }
    }
}

impl ReadOut<'_> {
    /// Number of codes of the converter; none for a count.
    pub fn codes(&self) -> Option<f64> {
        (self.kind != ReadOutKind::Oscillator)
            .then(|| libm::ldexp(1.0, i32::try_from(self.converter.bits).unwrap_or(24)))
    }

    /// Full scale of the divider's signal against the converter.
    fn scale(&self) -> f64 {
        if self.divider.ratiometric { 1.0 } else { self.divider.supply_v / self.converter.full_scale_v }
    }

    /// Voltage of one converter step, V; none for a count.
    pub fn step_v(&self) -> Option<f64> {
        let full = match self.kind {
            ReadOutKind::Divider if self.divider.ratiometric => self.divider.supply_v,
            ReadOutKind::Divider | ReadOutKind::Current => self.converter.full_scale_v,
            ReadOutKind::Oscillator => return None,
        };
        self.codes().map(|codes| full / codes)
    }

    /// Twice the delay that firmware subtracts, s.
    fn subtracted_s(&self) -> f64 {
        if self.oscillator.delay_corrected { 2.0 * self.oscillator.comparator_delay_s } else { 0.0 }
    }

    /// The period for a resistance, s.
    pub fn period_s(&self, ohm: f64) -> f64 {
        let with = self.oscillator;
        with.k * ohm * with.capacitance_farad + 2.0 * with.comparator_delay_s
    }

    /// The voltage at the converter, V; none for a frequency.
    pub fn output_v(&self, ohm: f64) -> Option<f64> {
        match self.kind {
            ReadOutKind::Divider => Some(self.divider.supply_v * self.share(ohm)),
            ReadOutKind::Current => Some(self.current.current_a * ohm),
            ReadOutKind::Oscillator => None,
        }
    }

    /// The share of the supply at the converter.
    fn share(&self, ohm: f64) -> f64 {
        let over = match self.divider.side {
            Side::Low => ohm,
            Side::High => self.divider.fixed_ohm,
        };
        over / (ohm + self.divider.fixed_ohm)
    }

    /// The code of a resistance, not rounded.
    pub fn code(&self, ohm: f64) -> f64 {
        match self.kind {
            ReadOutKind::Divider => self.codes().unwrap_or(0.0) * self.scale() * self.share(ohm),
            ReadOutKind::Current => {
                self.codes().unwrap_or(0.0) * self.current.current_a * ohm / self.converter.full_scale_v
            }
            ReadOutKind::Oscillator => self.count(self.period_s(ohm)),
        }
    }

    /// The code of the divider's whole supply.
    pub fn code_of_supply(&self) -> f64 {
        self.codes().unwrap_or(0.0) * self.scale()
    }

    fn count(&self, period_s: f64) -> f64 {
        match self.oscillator.counting {
            Counting::Gated => self.oscillator.gate_s / period_s,
            Counting::Reciprocal => self.oscillator.clock_hz * f64::from(self.oscillator.periods) * period_s,
        }
    }

    /// The resistance that firmware works out from a code; none where it is not positive.
    pub fn ohm(&self, code: f64) -> Option<f64> {
        let ohm = match self.kind {
            ReadOutKind::Divider => {
                let share = code / self.codes()? / self.scale();
                let ratio = share / (1.0 - share);
                match self.divider.side {
                    Side::Low => self.divider.fixed_ohm * ratio,
                    Side::High => self.divider.fixed_ohm / ratio,
                }
            }
            ReadOutKind::Current => code / self.codes()? * self.converter.full_scale_v / self.current.current_a,
            ReadOutKind::Oscillator => {
                let with = self.oscillator;
                let period = match with.counting {
                    Counting::Gated => with.gate_s / code,
                    Counting::Reciprocal => code / (with.clock_hz * f64::from(with.periods)),
                };
                (period - 2.0 * with.comparator_delay_s) / (with.k * with.capacitance_farad)
            }
        };
        (ohm > 0.0 && ohm.is_finite()).then_some(ohm)
    }

    /// The code of a resistance for any kind of number.
    pub fn code_of<N: Number>(&self, ohm: N) -> N {
        match self.kind {
            ReadOutKind::Divider => {
                let sum = ohm + self.divider.fixed_ohm;
                let share = match self.divider.side {
                    Side::Low => ohm / sum,
                    Side::High => N::from(self.divider.fixed_ohm) / sum,
                };
                share * (self.codes().unwrap_or(0.0) * self.scale())
            }
            ReadOutKind::Current => {
                ohm * (self.codes().unwrap_or(0.0) * self.current.current_a / self.converter.full_scale_v)
            }
            ReadOutKind::Oscillator => {
                let with = self.oscillator;
                let period = ohm * (with.k * with.capacitance_farad) + 2.0 * with.comparator_delay_s;
                match with.counting {
                    Counting::Gated => N::from(with.gate_s) / period,
                    Counting::Reciprocal => period * (with.clock_hz * f64::from(with.periods)),
                }
            }
        }
    }

    /// The resistance that leads to the code which firmware sees: the apparent one less a delay that it does not subtract.
    pub fn behind_delay<N: Number>(&self, ohm: N) -> N {
        if self.kind == ReadOutKind::Oscillator {
            let with = self.oscillator;
            ohm - (2.0 * with.comparator_delay_s - self.subtracted_s()) / (with.k * with.capacitance_farad)
        } else {
            ohm
        }
    }

    /// Change of the code for a relative change of the resistance: dcode/d(ln R).
    pub fn code_per_log(&self, ohm: f64) -> f64 {
        match self.kind {
            ReadOutKind::Divider => {
                let sum = ohm + self.divider.fixed_ohm;
                let product = ohm / sum * (self.divider.fixed_ohm / sum);
                let sign = if self.divider.side == Side::Low { 1.0 } else { -1.0 };
                sign * self.codes().unwrap_or(0.0) * self.scale() * product
            }
            ReadOutKind::Current => self.code(ohm),
            ReadOutKind::Oscillator => {
                let period = self.period_s(ohm);
                let share = 1.0 - 2.0 * self.oscillator.comparator_delay_s / period;
                let sign = if self.oscillator.counting == Counting::Gated { -1.0 } else { 1.0 };
                sign * self.count(period) * share
            }
        }
    }

    /// Heat in the sensor while it is powered, W.
    pub fn power_w(&self, ohm: f64) -> f64 {
        match self.kind {
            ReadOutKind::Divider => {
                let current = self.divider.supply_v / (ohm + self.divider.fixed_ohm);
                current * current * ohm
            }
            ReadOutKind::Current => self.current.current_a * self.current.current_a * ohm,
            ReadOutKind::Oscillator => {
                let r = libm::exp(self.oscillator.k / 2.0);
                let squared = self.oscillator.supply_v * self.oscillator.supply_v;
                squared * (r - 1.0) / ((r + 1.0) * self.oscillator.k) / ohm
            }
        }
    }

    /// The code that firmware sees for a sensor of `ohm` behind a chain that deviates, not clipped.
    #[inline]
    pub fn seen<N: Number>(&self, ohm: N, by: &Deviations<N>) -> N {
        let part = (by.part[0] + 1.0) * (by.part[1] + 1.0);
        let gain = (by.reference + 1.0) * (by.gain + 1.0);
        let steps = by.steps[0] + by.steps[1] + by.steps[2];
        match self.kind {
            ReadOutKind::Divider => {
                let fixed = part * self.divider.fixed_ohm;
                let over = if self.divider.side == Side::Low { ohm } else { fixed };
                over / (ohm + fixed) * gain * self.code_of_supply() + steps
            }
            ReadOutKind::Current => self.code_of(ohm) * part * gain + steps,
            ReadOutKind::Oscillator => self.code_of(self.behind_delay(self.there_and_back(ohm, by))),
        }
    }

    /// The resistance that firmware works out for a sensor of `ohm` behind a chain that deviates.
    #[inline]
    pub fn there_and_back<N: Number>(&self, ohm: N, by: &Deviations<N>) -> N {
        let part = (by.part[0] + 1.0) * (by.part[1] + 1.0);
        let gain = (by.reference + 1.0) * (by.gain + 1.0);
        let steps = by.steps[0] + by.steps[1] + by.steps[2];
        match self.kind {
            ReadOutKind::Divider => {
                let fixed = part * self.divider.fixed_ohm;
                let over = if self.divider.side == Side::Low { ohm } else { fixed };
                let share = over / (ohm + fixed) * gain + steps / (self.codes().unwrap_or(1.0) * self.scale());
                let rest = -share + 1.0;
                let ratio = if self.divider.side == Side::Low { share / rest } else { rest / share };
                ratio * self.divider.fixed_ohm
            }
            ReadOutKind::Current => {
                let step_ohm = self.converter.full_scale_v / (self.codes().unwrap_or(1.0) * self.current.current_a);
                ohm * part * gain + steps * step_ohm
            }
            ReadOutKind::Oscillator => self.oscillate(ohm, by, part, steps),
        }
    }

    #[inline]
    fn oscillate<N: Number>(&self, ohm: N, by: &Deviations<N>, part: N, steps: N) -> N {
        let with = self.oscillator;
        let known = self.subtracted_s();
        let delay = by.delay_s * 2.0 + known;
        let rc = with.k * with.capacitance_farad;
        let counted = |period: N, step: N| match with.counting {
            Counting::Gated => {
                let count = N::from(with.gate_s) / period * (by.gain + 1.0) + step;
                N::from(with.gate_s) / count
            }
            Counting::Reciprocal => {
                let rate = with.clock_hz * f64::from(with.periods);
                (period * rate * (by.gain + 1.0) + step) / rate
            }
        };
        match with.reference_ohm {
            None => {
                let period = ohm * rc * part * (by.reference + 1.0) + delay;
                (counted(period, steps) - known) / rc
            }
            Some(reference) => {
                let own = counted(ohm * rc + delay, steps) - known;
                let beside = counted(part * (reference * rc) + delay, by.reference_step) - known;
                own / beside * reference
            }
        }
    }
}
