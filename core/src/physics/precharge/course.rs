//! # The course of the link voltage
//!
//! The capacitor charges through the resistor; from some voltage on a load takes part of the current. Each stretch has a
//! closed form: an exponential for no load, a resistance or a constant current, logarithms for a constant power.
//! Where the load takes more than the resistor delivers, the link stops rising: it settles, or it hangs at the voltage
//! at which the load wakes. A link that starts above the pack is discharged through the resistor: the current flows
//! backwards until both agree. A bleeder beside the load makes of pack and resistor another source, that with its open
//! voltage and inner resistance (Thévenin); the resistor still has the whole V − v across it.
//!
//! ```text
//! Formula    C dv/dt = (V − v)/R − v/Rb − i(v) = (Vs − v)/Rs − i(v), Vs = V Rb/(R + Rb), Rs = R ∥ Rb; below for Vs, Rs
//!            of V, R (without a bleeder they are the same)
//! Free       v = V + (V0 − V) e^(−t/RC)
//! Resistance Vf = V RL/(R + RL), τ = C (R ∥ RL);  current: Vf = V − I R, τ = R C
//!            energy in R: [d² t + 2 d w τ (1 − e^(−t/τ)) + w² (τ/2)(1 − e^(−2t/τ))]/R, d = V − Vf, w = Vf − V0
//! Power      equilibria v± = (V ± √(V² − 4 R P))/2, none above P = V²/(4R); with q(v) = v (V − v) − R P
//!            t = R C ∫ v/q dv = R C/(v₊ − v₋) [v₊ ln((v₊ − v0)/(v₊ − v1)) + v₋ ln((v1 − v₋)/(v0 − v₋))]
//!            energy in R: (Rs/R) C [Vs v − v²/2 + Rs P ∫ (Vs − v)/q dv + D (D ∫ v/q dv + 2 v + 2 Rs P ∫ dv/q)], D = V − Vs
//! Hangs      where (V − Ve)/R is below the load's current at its wake-up voltage Ve: the load pulls the link back to Ve
//! Valid      constant R and C; a load that sleeps below Ve, without hysteresis
//! Source     Kirchhoff's laws; integrals in closed form, derived here and checked against an ODE solver
//! ```

use smallvec::SmallVec;

/// What the load takes when it is awake.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Draw {
    /// Nothing.
    Nothing,
    /// v/R, at every voltage.
    Resistance(f64),
    /// A constant current, from the wake-up voltage on.
    Current(f64),
    /// A constant power, from the wake-up voltage on.
    Power(f64),
}

/// Pack, resistor, capacitor and load.
#[derive(Clone, Copy, Debug)]
pub struct Circuit {
    /// Pack voltage, V.
    pub pack_v: f64,
    /// Link voltage at the start, V.
    pub start_v: f64,
    /// Pre-charge resistor, Ω.
    pub resistance_ohm: f64,
    /// Link capacitance, F.
    pub capacitance_farad: f64,
    /// The load.
    pub draw: Draw,
    /// A resistance that is across the link beside it, Ω; infinite without one.
    pub bleeder_ohm: f64,
    /// Voltage at which it wakes, V.
    pub enable_v: f64,
}

/// A step of Newton's method that is so short against the voltage lands on it: what is missing then is about its square.
const NEAR: f64 = 1e-8;

/// The law of one stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Law {
    /// Towards a final value.
    Exponential { final_v: f64, tau_s: f64 },
    /// With a constant power.
    Power,
    /// Held at one voltage.
    Held,
}

/// One stretch of the course.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    law: Law,
    from_v: f64,
    /// The voltage it ends at or settles at.
    to_v: f64,
    begin_s: f64,
    /// Infinite for the last one.
    end_s: f64,
}

/// The whole course.
#[derive(Clone, Debug)]
pub struct Course {
    circuit: Circuit,
    stretches: SmallVec<[Stretch; 4]>,
}

impl Circuit {
    /// Current through the resistor, A.
    pub fn charge_a(&self, v: f64) -> f64 {
        (self.pack_v - v) / self.resistance_ohm
    }

    /// What the bleeder leaves of it for capacitor and load, A.
    pub fn offers_a(&self, v: f64) -> f64 {
        self.charge_a(v) - v / self.bleeder_ohm
    }

    /// Voltage and resistance of pack, resistor and bleeder as capacitor and load see them.
    pub fn source(&self) -> (f64, f64) {
        if self.bleeder_ohm.is_infinite() {
            return (self.pack_v, self.resistance_ohm);
        }
        let share = self.bleeder_ohm / (self.resistance_ohm + self.bleeder_ohm);
        (self.pack_v * share, self.resistance_ohm * share)
    }

    /// The power above which an awake load has no equilibrium, W.
    pub fn collapse_w(&self) -> f64 {
        let (source_v, source_ohm) = self.source();
        source_v * source_v / (4.0 * source_ohm)
    }

    /// What the load takes when it is awake, A.
    pub fn load_a(&self, v: f64) -> f64 {
        match self.draw {
            Draw::Nothing => 0.0,
            Draw::Resistance(ohm) => v / ohm,
            Draw::Current(a) => a,
            Draw::Power(w) => w / v,
        }
    }

    /// The voltage at which the load wakes; a resistance is always awake.
    pub fn wake_v(&self) -> f64 {
        match self.draw {
            Draw::Nothing => f64::INFINITY,
            Draw::Resistance(_) => f64::NEG_INFINITY,
            Draw::Current(_) | Draw::Power(_) => self.enable_v,
        }
    }

    /// Lower and upper voltage at which an awake load of constant power takes what the resistor delivers.
    pub fn equilibria_v(&self, power_w: f64) -> Option<(f64, f64)> {
        let (source_v, source_ohm) = self.source();
        let product = source_ohm * power_w;
        let square = source_v * source_v - 4.0 * product;
        (square >= 0.0).then(|| {
            let sum = source_v + square.sqrt();
            // The product of the two is R P: the small one does not come from a difference.
            (2.0 * product / sum, 0.5 * sum)
        })
    }

    /// The voltage at which the awake load and the resistor balance, when there is one.
    pub fn balance_v(&self) -> Option<f64> {
        let (source_v, source_ohm) = self.source();
        match self.draw {
            Draw::Nothing => Some(source_v),
            Draw::Resistance(ohm) => Some(source_v * ohm / (source_ohm + ohm)),
            Draw::Current(a) => Some(source_v - a * source_ohm).filter(|v| *v > 0.0),
            Draw::Power(w) => self.equilibria_v(w).map(|(_, upper)| upper),
        }
    }

    /// The same without its load.
    #[must_use]
    pub fn unloaded(&self) -> Self {
        Self { draw: Draw::Nothing, bleeder_ohm: f64::INFINITY, ..*self }
    }

    fn free(&self) -> Law {
        let (final_v, source_ohm) = self.source();
        Law::Exponential { final_v, tau_s: source_ohm * self.capacitance_farad }
    }

    fn awake(&self) -> Law {
        let (source_v, source_ohm) = self.source();
        let rc = source_ohm * self.capacitance_farad;
        match self.draw {
            Draw::Nothing => self.free(),
            Draw::Resistance(ohm) => {
                Law::Exponential { final_v: source_v * ohm / (source_ohm + ohm), tau_s: rc * ohm / (source_ohm + ohm) }
            }
            Draw::Current(a) => Law::Exponential { final_v: source_v - a * source_ohm, tau_s: rc },
            Draw::Power(_) => Law::Power,
        }
    }

    /// The course from the start voltage.
    pub fn course(&self) -> Course {
        let mut stretches = SmallVec::new();
        let (wake, (source_v, _)) = (self.wake_v(), self.source());
        let (mut v, mut t) = (self.start_v, 0.0);
        let mut add = |law: Law, from_v: f64, to_v: f64, begin_s: f64, ends: bool| -> f64 {
            let end_s = if ends { begin_s + self.time(law, from_v, to_v).unwrap_or(0.0) } else { f64::INFINITY };
            stretches.push(Stretch { law, from_v, to_v, begin_s, end_s });
            end_s
        };
        if v < wake {
            let ends = wake < source_v;
            t = add(self.free(), v, if ends { wake } else { source_v }, 0.0, ends);
            v = wake;
        }
        if t.is_finite() {
            let net = self.offers_a(v) - self.load_a(v);
            let floor = wake.max(0.0);
            let rest = match self.draw {
                Draw::Power(w) => self.equilibria_v(w).filter(|(lower, _)| v > *lower).map(|(_, upper)| upper),
                _ => self.balance_v(),
            };
            match rest {
                Some(rest) if net > 0.0 && rest > v => {
                    add(self.awake(), v, rest, t, false);
                }
                Some(rest) if net < 0.0 && rest < v && rest >= floor => {
                    add(self.awake(), v, rest, t, false);
                }
                _ if net < 0.0 && (v > floor || floor > source_v) => {
                    let end = if v > floor { add(self.awake(), v, floor, t, true) } else { t };
                    if floor > source_v {
                        // A link above its source: the load sleeps, and the rest takes it further down.
                        add(self.free(), floor, source_v, end, false);
                    } else {
                        add(Law::Held, floor, floor, end, false);
                    }
                }
                _ => {
                    add(Law::Held, v, v, t, false);
                }
            }
        }
        Course { circuit: *self, stretches }
    }

    /// Time from one voltage to another under a law; none when it never gets there.
    fn time(&self, law: Law, from_v: f64, to_v: f64) -> Option<f64> {
        let time = match law {
            Law::Exponential { final_v, tau_s } => tau_s * libm::log((final_v - from_v) / (final_v - to_v)),
            Law::Power => {
                let (time, _) = self.power_integrals(from_v, to_v);
                time
            }
            Law::Held => return None,
        };
        Some(time).filter(|time| time.is_finite() && *time >= 0.0)
    }

    /// Rs C ∫ v/q dv and ∫ (Vs − v)/q dv of a constant power, q = v (Vs − v) − Rs P. Written so that no two near numbers are
    /// subtracted when the two equilibria lie close together.
    fn power_integrals(&self, v0: f64, v1: f64) -> (f64, f64) {
        let Draw::Power(power_w) = self.draw else { return (f64::NAN, f64::NAN) };
        let (source_v, source_ohm) = self.source();
        let rc = source_ohm * self.capacitance_farad;
        if let Some((lower, upper)) = self.equilibria_v(power_w) {
            let between = upper - lower;
            let near = libm::log(((upper - v0) / (upper - v1)).abs());
            let step = (v1 - v0) / ((upper - v1) * (v0 - lower));
            // ∫ dv/q = ln(1 + (v₊ − v₋) step)/(v₊ − v₋), which is the step itself where both are one.
            let inverse = if between > 0.0 { libm::log1p(between * step) / between } else { step };
            return (rc * (near + lower * inverse), upper * inverse - near);
        }
        let width = (4.0 * source_ohm * power_w - source_v * source_v).sqrt();
        let (a, b) = (2.0 * v1 - source_v, 2.0 * v0 - source_v);
        let inverse = -2.0 * libm::atan2(width * (a - b), width * width + a * b) / width;
        let half_log = 0.5 * libm::log((a * a + width * width) / (b * b + width * width));
        let half = 0.5 * source_v * inverse;
        (rc * (half - half_log), half + half_log)
    }

    /// The voltage at which ∫ dv/q from `v` is `inverse`; `power_integrals` turned round.
    fn power_on(&self, v: f64, inverse: f64) -> f64 {
        let Draw::Power(power_w) = self.draw else { return f64::NAN };
        let (source_v, source_ohm) = self.source();
        if let Some((lower, upper)) = self.equilibria_v(power_w) {
            let between = upper - lower;
            let step = if between > 0.0 { libm::expm1(between * inverse) / between } else { inverse };
            // What a step without bound goes to is the upper one.
            let share = 1.0 / (1.0 / (step * (v - lower)) + 1.0);
            return v + share * (upper - v);
        }
        let width = (4.0 * source_ohm * power_w - source_v * source_v).sqrt();
        let (b, turn) = (2.0 * v - source_v, libm::tan(-0.5 * width * inverse));
        0.5 * (source_v + width * (b + turn * width) / (width - turn * b))
    }
}

impl Stretch {
    /// The voltage `t` after the beginning.
    fn voltage(&self, circuit: &Circuit, t: f64) -> f64 {
        match self.law {
            Law::Exponential { final_v, tau_s } => final_v + (self.from_v - final_v) * libm::exp(-t / tau_s),
            Law::Held => self.from_v,
            Law::Power => {
                // dt = Rs C v du, du = dv/q: Newton's method on u, halved where it leaves the bracket.
                let rc = circuit.source().1 * circuit.capacitance_farad;
                let (mut near, mut far) = (self.from_v, self.to_v);
                let mut v = 0.5 * (near + far);
                for _ in 0..200 {
                    if v == near || v == far {
                        break;
                    }
                    let time = circuit.time(self.law, self.from_v, v);
                    *if time.is_some_and(|time| time <= t) { &mut near } else { &mut far } = v;
                    let newton = time.map(|time| circuit.power_on(v, (t - time) / (rc * v)));
                    v = match newton.filter(|next| (0.0..1.0).contains(&((next - near) / (far - near)))) {
                        Some(next) if (next - v).abs() <= NEAR * v.abs() => return next,
                        Some(next) => next,
                        None => 0.5 * (near + far),
                    };
                }
                near
            }
        }
    }

    /// Energy in the resistor in the first `t` of the stretch, at whose end the link is at `v`.
    fn energy(&self, circuit: &Circuit, t: f64, v: f64) -> f64 {
        let pack = circuit.pack_v;
        match self.law {
            Law::Exponential { final_v, tau_s } => {
                let (d, w) = (pack - final_v, final_v - self.from_v);
                let gone = -libm::expm1(-t / tau_s);
                let twice = -libm::expm1(-2.0 * t / tau_s);
                (d * d * t + 2.0 * d * w * tau_s * gone + w * w * 0.5 * tau_s * twice) / circuit.resistance_ohm
            }
            Law::Held => (pack - self.from_v) * circuit.charge_a(self.from_v) * t,
            Law::Power => {
                let Draw::Power(power_w) = circuit.draw else { return 0.0 };
                if v == self.from_v {
                    // So near its rest that the doubles do not part: the current is what it was.
                    return (pack - v) * circuit.charge_a(v) * t;
                }
                let (reached, source) = circuit.power_integrals(self.from_v, v);
                let ((source_v, source_ohm), rises) = (circuit.source(), v - self.from_v);
                let stored = rises * (source_v - 0.5 * (v + self.from_v));
                // ∫ v/q dv, and ∫ dv/q from it: Vs of it is the sum of both integrals.
                let whole = reached / (source_ohm * circuit.capacitance_farad);
                let inverse = (whole + source) / source_v;
                let lost = pack - source_v;
                let beside = lost * (lost * whole + 2.0 * (rises + source_ohm * power_w * inverse));
                // What is left of the time after the last double before the rest is spent at the rest.
                let rest = (t - reached).max(0.0) * (pack - v) * circuit.charge_a(v);
                source_ohm / circuit.resistance_ohm
                    * circuit.capacitance_farad
                    * (stored + source_ohm * power_w * source + beside)
                    + rest
            }
        }
    }
}

impl Course {
    /// The voltage at which the link ends up.
    pub fn settle_v(&self) -> f64 {
        self.stretches.last().map_or(self.circuit.start_v, |stretch| stretch.to_v)
    }

    /// Whether it ends up hanging at the voltage at which the load wakes.
    pub fn hangs(&self) -> bool {
        self.stretches.last().is_some_and(|stretch| stretch.law == Law::Held)
    }

    /// The time at which the load wakes, when it sleeps at the start and wakes at all.
    pub fn wake_s(&self) -> Option<f64> {
        self.stretches
            .first()
            .map(|stretch| stretch.end_s)
            .filter(|end| self.circuit.start_v < self.circuit.wake_v() && end.is_finite())
    }

    /// The time at which the link reaches a voltage from below; none when it never does.
    pub fn time_to(&self, target_v: f64) -> Option<f64> {
        if self.circuit.start_v >= target_v {
            return Some(0.0);
        }
        self.stretches.iter().find(|stretch| stretch.from_v < target_v && target_v <= stretch.to_v).and_then(
            |stretch| {
                if target_v == stretch.to_v && stretch.end_s.is_finite() {
                    return Some(stretch.end_s);
                }
                self.circuit.time(stretch.law, stretch.from_v, target_v).map(|time| stretch.begin_s + time)
            },
        )
    }

    /// The time at which the link comes down to a voltage from above; none when it never does.
    pub fn time_down_to(&self, target_v: f64) -> Option<f64> {
        if self.circuit.start_v <= target_v {
            return Some(0.0);
        }
        let stretch = self.stretches.iter().find(|one| one.from_v > target_v && target_v >= one.to_v)?;
        if target_v == stretch.to_v && stretch.end_s.is_finite() {
            return Some(stretch.end_s);
        }
        self.circuit.time(stretch.law, stretch.from_v, target_v).map(|time| stretch.begin_s + time)
    }

    fn at(&self, t: f64) -> Option<&Stretch> {
        self.stretches.iter().find(|stretch| t < stretch.end_s)
    }

    /// The link voltage at a time, V.
    pub fn voltage_at(&self, t: f64) -> f64 {
        self.at(t).map_or(self.circuit.start_v, |stretch| stretch.voltage(&self.circuit, t - stretch.begin_s))
    }

    /// The current through the resistor at a time, A.
    pub fn current_at(&self, t: f64) -> f64 {
        self.circuit.charge_a(self.voltage_at(t))
    }

    /// The energy that the resistor has taken up to a time, J.
    pub fn energy_at(&self, t: f64) -> f64 {
        self.stretches
            .iter()
            .filter(|stretch| stretch.begin_s <= t)
            .map(|stretch| {
                if t < stretch.end_s {
                    let spent = t - stretch.begin_s;
                    stretch.energy(&self.circuit, spent, stretch.voltage(&self.circuit, spent))
                } else {
                    stretch.energy(&self.circuit, stretch.end_s - stretch.begin_s, stretch.to_v)
                }
            })
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The voltage at a time is the one that takes this time: the doubles around it take less and more. Of a constant power far
    /// from collapse, where two equilibria all but meet, and where there is none.
    #[test]
    fn a_voltage_takes_its_time() {
        for share in [0.3, 0.9, 1.0 - 1e-9, 1.0, 1.0 + 1e-9, 1.05, 3.0] {
            for (start_v, bleeder_ohm) in [(60.0, f64::INFINITY), (150.0, 800.0), (330.0, f64::INFINITY)] {
                let idle = Circuit {
                    pack_v: 400.0,
                    start_v,
                    resistance_ohm: 50.0,
                    capacitance_farad: 1e-3,
                    draw: Draw::Nothing,
                    bleeder_ohm,
                    enable_v: 50.0,
                };
                let circuit = Circuit { draw: Draw::Power(share * idle.collapse_w()), ..idle };
                let stretch = circuit.course().stretches[0];
                assert_eq!(stretch.law, Law::Power, "{share} {start_v}");
                let most_s = stretch.end_s.min(1.0);
                for part in [1e-9, 1e-4, 0.01, 0.2, 0.5, 0.9, 0.999_999] {
                    let t = part * most_s;
                    let v = stretch.voltage(&circuit, t);
                    let off = 4e-15 * v * (stretch.to_v - start_v).signum();
                    let [sooner, later] = [v - off, v + off].map(|v| circuit.time(Law::Power, start_v, v));
                    assert!(
                        sooner.is_none_or(|sooner| sooner <= t * (1.0 + 1e-14)),
                        "{share} {start_v} {part}: {v}, {sooner:?}"
                    );
                    assert!(
                        later.is_none_or(|later| later >= t * (1.0 - 1e-14)),
                        "{share} {start_v} {part}: {v}, {later:?}"
                    );
                }
            }
        }
    }
}
