//! # The resistor attempt after attempt
//!
//! A pulse rating holds from the ambient temperature; the second attempt begins warm. With the heat capacity of its body
//! and the way to the ambient the temperature is followed through series after series. Without them two ratings that mean
//! one limit temperature still bound it.
//!
//! ```text
//! Formula    dθ/dt = P/Cth − θ/τ, τ = Rth Cth; over a time t with P = p + s t from θ0
//!            θ = θ0 e^(−x) + Rth (p (1 − e^(−x)) + s τ (x − 1 + e^(−x))), x = t/τ, highest where
//!            e^(−x) = Rth s τ/(θ0 − Rth (p − s τ))
//!            an attempt from cold by steps of straight power: r(t); θ = θ0 e^(−t/τ) + r(t)
//!            series after series: geometric sums of r, the last attempt of a series begins warmest, or the first; a series ends
//!            with the attempt that succeeds, so that all of one attempt follow one another, too
//!            bound: E pulses of a body, one each T: peak E/(Cth (1 − e^(−T/τ))) ≤ E/Cth + Rth E/T, so that
//!            E/Ep + E/(T Pr) ≤ 1 keeps the limit; or N E/Ep + mean/Pr with the energy of a series in one, mean the larger one
//!            of a series of one and of N
//! Symbols    θ [K] above the ambient, P [W], s [W/s], E [J] of an attempt, Ep [J], Pr [W] ratings, N attempts of a series
//! Valid      one body, linear cooling; the rated pulse and the rated power each bring it to its limit
//! Source     linear first-order system; 1/(1 − e^(−x)) ≤ 1 + 1/x
//! ```

/// Steps of an attempt that is told.
pub const TOLD: u32 = 512;
/// Steps of one that is held against others that are near to it.
pub const NEAR: u32 = 64;
/// Steps of one that is held against all others.
pub const COMPARED: u32 = 24;

/// The first step as a share of the attempt: the power may be largest while the body is still cold.
const SHORTEST: f64 = 1.0 / 1024.0;

/// A part of an attempt in which the power is taken to be straight.
struct Step {
    /// Its start in the attempt, and its length, s.
    from_s: f64,
    length_s: f64,
    /// The power at its start, W, and how fast that rises, W/s.
    power_w: f64,
    slope: f64,
    /// What the attempt has warmed a cold body by at its start, K.
    rise_k: f64,
}

/// How attempts follow one another.
#[derive(Clone, Copy, Debug)]
pub struct Rhythm {
    /// Attempts of a series.
    pub attempts: u32,
    /// Start to start, s.
    pub repeat_s: f64,
    /// Pause after the last attempt of a series, s; 0: none but that of the attempts.
    pub pause_s: f64,
    /// How soon an attempt may be over, s: the pause after the last one counts from there.
    pub earliest_s: f64,
}

impl Rhythm {
    /// Start of the last attempt of a series to start of the next series, s: the pause counts from its end; without one a
    /// series follows as an attempt does.
    fn last_s(self, length_s: f64) -> f64 {
        if self.pause_s > 0.0 { length_s.min(self.earliest_s) + self.pause_s } else { self.repeat_s }
    }

    /// Start of a series to start of the next, s, where an attempt takes so long.
    pub fn cycle_s(self, length_s: f64) -> f64 {
        (f64::from(self.attempts) - 1.0) * self.repeat_s + self.last_s(length_s)
    }

    /// The mean power where each attempt takes so much, W: during a series, or series after series where these follow sooner.
    /// A series is over with the attempt that succeeds, which may be the first.
    pub fn mean_w(self, length_s: f64, energy_j: f64) -> f64 {
        let during = if self.attempts > 1 { energy_j / self.repeat_s } else { 0.0 };
        during.max(self.series_w(length_s, energy_j))
    }

    /// The same over whole series, W.
    fn series_w(self, length_s: f64, energy_j: f64) -> f64 {
        let all = f64::from(self.attempts) * energy_j / self.cycle_s(length_s);
        all.max(energy_j / self.last_s(length_s))
    }

    /// The share of the ratings that series after series takes at most.
    pub fn share(self, length_s: f64, energy_j: f64, pulse_j: f64, power_w: f64) -> f64 {
        let series_j = f64::from(self.attempts) * energy_j;
        let last_s = self.last_s(length_s);
        let apart_s = if self.attempts > 1 { self.repeat_s.min(last_s) } else { last_s };
        let each = energy_j / pulse_j + energy_j / (apart_s * power_w);
        let whole = series_j / pulse_j + self.series_w(length_s, energy_j) / power_w;
        each.min(whole)
    }
}

/// A body that takes heat and loses it.
#[derive(Clone, Copy, Debug)]
pub struct Body {
    /// J/K.
    pub heat_j_per_k: f64,
    /// K/W.
    pub k_per_w: f64,
}

impl Body {
    fn tau_s(self) -> f64 {
        self.heat_j_per_k * self.k_per_w
    }

    /// The rise after a time of straight power.
    fn after_k(self, from_k: f64, power_w: f64, slope: f64, time_s: f64) -> f64 {
        let tau = self.tau_s();
        let x = time_s / tau;
        let gain = -libm::expm1(-x);
        // Of small x the difference is a series.
        let lag = if x < 1e-3 { 0.5 * x * x * (1.0 - x / 3.0 * (1.0 - x / 4.0)) } else { x - gain };
        from_k * libm::exp(-x) + self.k_per_w * (power_w * gain + slope * tau * lag)
    }

    /// The highest rise in a step and at its end, of a body that was so warm when the attempt began.
    fn highest_k(self, step: &Step, start_k: f64) -> f64 {
        let tau = self.tau_s();
        let from_k = start_k * libm::exp(-step.from_s / tau) + step.rise_k;
        let at = |time_s: f64| self.after_k(from_k, step.power_w, step.slope, time_s);
        let end = at(step.length_s);
        let bends = from_k - self.k_per_w * (step.power_w - step.slope * tau);
        let turns_s = -tau * libm::log(self.k_per_w * step.slope * tau / bends);
        if bends < 0.0 && turns_s > 0.0 && turns_s < step.length_s { end.max(at(turns_s)) } else { end }
    }

    /// The highest rise above the ambient when series follow series for ever; `energy_j` up to a time within an attempt.
    pub fn peak_k(self, rhythm: Rhythm, length_s: f64, steps: u32, energy_j: impl Fn(f64) -> f64) -> f64 {
        let tau = self.tau_s();
        let (course, rise) = self.course(length_s, steps, energy_j);
        // What follows while another state of the attempt would still go on finds it as warm as at its end.
        let after = |apart_s: f64| rise * libm::exp(-(apart_s - length_s).max(0.0) / tau);
        let last_s = rhythm.last_s(length_s);
        let warmest = |start: f64| course.iter().map(|step| self.highest_k(step, start)).fold(start, f64::max);
        // Of series that succeed at once.
        let alone = after(last_s) / -libm::expm1(-last_s / tau);
        let others = f64::from(rhythm.attempts) - 1.0;
        let fades = libm::exp(-others * rhythm.repeat_s / tau);
        // What the attempts before leave at the start of the last one.
        let left =
            after(rhythm.repeat_s) * libm::expm1(-others * rhythm.repeat_s / tau) / libm::expm1(-rhythm.repeat_s / tau);
        let sum = left * libm::exp(-last_s / tau) + after(last_s);
        let first = sum / -libm::expm1(-rhythm.cycle_s(length_s) / tau);
        // The last attempt begins warmest, or the first one of the next series where that follows sooner.
        warmest(first.max(first * fades + left).max(alone))
    }

    /// One attempt, and the rise at its end of a body that begins cold. The power of a step follows from its energy, its slope
    /// from the steps beside it.
    fn course(self, length_s: f64, steps: u32, energy_j: impl Fn(f64) -> f64) -> (Vec<Step>, f64) {
        if !(length_s > 0.0) {
            return (Vec::new(), 0.0);
        }
        let (count, octaves) = (f64::from(steps), libm::log2(SHORTEST));
        let mut before = (0.0, 0.0);
        // Start, length and mean power of each step.
        let parts: Vec<(f64, f64, f64)> = (1..=steps)
            .map(|i| length_s * libm::exp2(octaves * (1.0 - f64::from(i) / count)))
            .map(|to| {
                let (from, energy) = std::mem::replace(&mut before, (to, energy_j(to)));
                (from, to - from, (before.1 - energy) / (to - from))
            })
            .collect();
        let middle = |i: usize| parts[i].0 + 0.5 * parts[i].1;
        let mut rise_k = 0.0;
        let course = parts.iter().enumerate().map(|(i, &(from_s, length_s, mean_w))| {
            let (low, high) = (i.saturating_sub(1), (i + 1).min(parts.len() - 1));
            let slope = (parts[high].2 - parts[low].2) / (middle(high) - middle(low));
            let power_w = mean_w - 0.5 * slope * length_s;
            let end_k = self.after_k(rise_k, power_w, slope, length_s);
            Step { from_s, length_s, power_w, slope, rise_k: std::mem::replace(&mut rise_k, end_k) }
        });
        (course.collect(), rise_k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: P e^(−at) in a cold body is largest at ln(aτ)/(a − 1/τ), with Rth P (aτ)^(−aτ/(aτ − 1)) above the ambient.
    #[test]
    fn a_power_that_decays_warms_as_its_closed_form() {
        let once = Rhythm { attempts: 1, repeat_s: 1e6, pause_s: 0.0, earliest_s: f64::INFINITY };
        for at in [1e-4, 1e-3, 0.01, 0.1, 0.3, 0.7, 1.3, 3.0, 10.0, 100.0_f64] {
            // 20 W e^(−2 t/1 s), 3 s long.
            let tau = at / 2.0;
            let body = Body { heat_j_per_k: tau / 0.5, k_per_w: 0.5 };
            let hand = 10.0 * at.powf(-at / (at - 1.0));
            for (steps, within) in [(TOLD, 4e-6), (NEAR, 2e-5), (COMPARED, 1e-3)] {
                let found = body.peak_k(once, 3.0, steps, |t| 10.0 * -(-2.0 * t).exp_m1());
                println!("CF {at} {steps} {:.2e} {within}", found / hand - 1.0);
            }
        }
    }

    /// Closed forms: short pulses each T: E/(Cth (1 − e^(−T/τ))); a constant power for ever: Rth P; one series of two
    /// pulses and a long pause: E/Cth (1 + e^(−T/τ)). The bound of the ratings is never below the first.
    #[test]
    fn pulses_of_a_body() {
        let body = Body { heat_j_per_k: 10.0, k_per_w: 6.0 };
        let each = Rhythm { attempts: 1, repeat_s: 30.0, pause_s: 0.0, earliest_s: f64::INFINITY };
        let short = body.peak_k(each, 1e-6, TOLD, |t| 300.0 * t / 1e-6);
        assert!((short / (30.0 / -(-0.5_f64).exp_m1()) - 1.0).abs() < 1e-6, "{short}");
        let steady = body.peak_k(each, 30.0, TOLD, |t| 5.0 * t);
        assert!((steady - 30.0).abs() < 1e-9, "{steady}");
        let two = body.peak_k(Rhythm { attempts: 2, pause_s: 1e4, ..each }, 1e-6, TOLD, |t| 300.0 * t / 1e-6);
        assert!((two / (30.0 * (1.0 + (-0.5_f64).exp())) - 1.0).abs() < 1e-6, "{two}");
        // The pause counts from the end of the last attempt, also where it is shorter than from attempt to attempt.
        for (pause_s, apart_s) in [(40.0, 42.0), (10.0, 12.0), (0.0, 30.0)] {
            let paused = body.peak_k(Rhythm { pause_s, ..each }, 2.0, TOLD, |t| 150.0 * t);
            let alone = body.peak_k(Rhythm { repeat_s: apart_s, ..each }, 2.0, TOLD, |t| 150.0 * t);
            assert!((paused / alone - 1.0).abs() < 1e-12, "{paused} {alone}");
        }
        // One that may be over sooner is paused from there.
        assert!((Rhythm { pause_s: 10.0, earliest_s: 0.5, ..each }.cycle_s(2.0) - 10.5).abs() < 1e-12);
        // A series whose first attempt succeeds is that of one attempt and the same pause: 150 W for 2 s each 12 s.
        let three = Rhythm { attempts: 3, repeat_s: 200.0, pause_s: 10.0, earliest_s: 2.0 };
        let one = Rhythm { attempts: 1, ..three };
        assert!((three.mean_w(2.0, 300.0) - 25.0).abs() < 1e-12);
        let [three_k, one_k] = [three, one].map(|rhythm| body.peak_k(rhythm, 2.0, TOLD, |t| 150.0 * t));
        assert!((three_k / one_k - 1.0).abs() < 1e-9, "{three_k} {one_k}");
        assert!(three.share(2.0, 300.0, 500.0, 50.0 / 6.0) >= one_k / 50.0);
        // What begins before the attempt before would be over is no colder than after it.
        let soon = Rhythm { pause_s: 0.5, earliest_s: 0.1, ..one };
        assert!(body.peak_k(soon, 2.0, TOLD, |t| 150.0 * t) > one_k);
        for repeat_s in [0.1, 1.0, 10.0, 100.0, 1e4] {
            let rhythm = Rhythm { repeat_s, ..each };
            // Both ratings mean 50 K: 500 J and 50/6 W.
            let exact = body.peak_k(rhythm, 1e-9, TOLD, |t| 100.0 * t / 1e-9) / 50.0;
            assert!(rhythm.share(1e-9, 100.0, 500.0, 50.0 / 6.0) >= exact * (1.0 - 1e-9), "{repeat_s}");
        }
    }
}
