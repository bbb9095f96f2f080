//! # One thermal node with a resistance that depends on its temperature
//!
//! The current heats the element, the element's resistance changes, and the change feeds back on the heat.
//! With a parabola for R(T) the balance is a quadratic in the rise x above ambient, and its time course a Bernoulli
//! equation: both have closed forms, so nothing is iterated.
//!
//! ```text
//! Formula    τ dx/dt = C + B x + A x²  with  g = Rth I² R0, d = Ta − T0,
//!            A = g b, B = g (a + 2 b d) − 1, C = g (1 + a d + b d²)
//! Steady     x = 2 C / (−B + √(B² − 4 A C)), the smallest positive root: the state that is reached from below
//! Adiabatic  no heat leaves: Cth dx/dt = I² R0 (c + s x + b x²), c and s value and slope of the curve at the start
//! Runaway    B² = 4 A C: I² = 1/(Rth R0 (s + 2 √(b c))), c and s value and slope at the ambient temperature
//! Symbols    g [K], a [1/K], b [1/K²], Rth [K/W], τ = Rth Cth [s], Ta ambient, T0 reference [°C]
//! Valid      one node, fixed Rth and Cth; pulses well above the internal diffusion time of the element
//! Loop gain  Rth I² dR/dT = 1 − √(B² − 4 A C) at the solution: below 1 it is stable, none means thermal runaway
//! Source     energy balance (Fourier's law, Joule heat); closed forms derived here and checked against an ODE solver
//! ```

/// Resistance against temperature, relative to the value at the reference temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// Linear coefficient, 1/K.
    pub a: f64,
    /// Quadratic coefficient, 1/K².
    pub b: f64,
    /// Reference temperature, °C.
    pub reference_degc: f64,
}

impl Curve {
    /// R(T)/R0 − 1.
    pub fn change(self, degc: f64) -> f64 {
        let d = degc - self.reference_degc;
        self.a * d + self.b * d * d
    }

    /// d(R/R0)/dT, 1/K.
    pub fn slope(self, degc: f64) -> f64 {
        self.a + 2.0 * self.b * (degc - self.reference_degc)
    }

    /// The temperature at which the parabola turns, °C.
    pub fn vertex_degc(self) -> Option<f64> {
        (self.b != 0.0).then(|| self.reference_degc - self.a / (2.0 * self.b))
    }
}

/// The heat balance at one current and one ambient temperature.
#[derive(Clone, Copy, Debug)]
pub struct Node {
    quadratic: f64,
    linear: f64,
    constant: f64,
    ambient_degc: f64,
    tau_s: f64,
}

impl Node {
    /// The balance of an element of `resistance_ohm` under `current_a`.
    pub fn new(
        curve: Curve,
        resistance_ohm: f64,
        thermal_resistance_k_per_w: f64,
        heat_capacity_j_per_k: f64,
        current_a: f64,
        ambient_degc: f64,
    ) -> Self {
        let g = thermal_resistance_k_per_w * current_a * current_a * resistance_ohm;
        Self {
            quadratic: g * curve.b,
            linear: g * curve.slope(ambient_degc) - 1.0,
            constant: g * (1.0 + curve.change(ambient_degc)),
            ambient_degc,
            tau_s: thermal_resistance_k_per_w * heat_capacity_j_per_k,
        }
    }

    /// The same element when no heat leaves it, started at `start_degc`: its rise counts from there.
    pub fn adiabatic(
        curve: Curve,
        resistance_ohm: f64,
        heat_capacity_j_per_k: f64,
        current_a: f64,
        start_degc: f64,
    ) -> Self {
        let rate = current_a * current_a * resistance_ohm / heat_capacity_j_per_k;
        Self {
            quadratic: rate * curve.b,
            linear: rate * curve.slope(start_degc),
            constant: rate * (1.0 + curve.change(start_degc)),
            ambient_degc: start_degc,
            tau_s: 1.0,
        }
    }

    /// The coefficients A, B, C of the balance.
    pub const fn coefficients(&self) -> [f64; 3] {
        [self.quadratic, self.linear, self.constant]
    }

    /// The steady rise above ambient; none when the heat grows faster than it leaves.
    pub fn steady_rise_k(&self) -> Option<f64> {
        let discriminant = self.linear * self.linear - 4.0 * self.quadratic * self.constant;
        if discriminant < 0.0 {
            return None;
        }
        let below = -self.linear + discriminant.sqrt();
        // With B ≥ 0 and A ≥ 0 the denominator is not positive: no state can be reached.
        (below > 0.0).then(|| 2.0 * self.constant / below).filter(|rise| rise.is_finite())
    }

    /// The steady element temperature, °C.
    pub fn steady_degc(&self) -> Option<f64> {
        self.steady_rise_k().map(|rise| self.ambient_degc + rise)
    }

    /// Rth I² dR/dT at the steady state.
    pub fn loop_gain(&self) -> Option<f64> {
        self.steady_rise_k().map(|rise| 1.0 + 2.0 * self.quadratic * rise + self.linear)
    }

    /// A rise at which the balance is zero or, without one, the point it is expanded about, with the slope there.
    fn expansion(&self) -> Option<(f64, f64)> {
        if let Some(rise) = self.steady_rise_k() {
            return Some((rise, 2.0 * self.quadratic * rise + self.linear));
        }
        let discriminant = self.linear * self.linear - 4.0 * self.quadratic * self.constant;
        if self.quadratic == 0.0 {
            return (self.linear > 0.0).then(|| (-self.constant / self.linear, self.linear));
        }
        (discriminant > 0.0).then(|| {
            let root = (-self.linear + discriminant.sqrt()) / (2.0 * self.quadratic);
            (root, discriminant.sqrt())
        })
    }

    /// The rise after `seconds`, started at `from_k`; none when the element has run away by then.
    pub fn rise_after_k(&self, from_k: f64, seconds: f64) -> Option<f64> {
        let t = seconds / self.tau_s;
        let rise = match self.expansion() {
            Some((root, slope)) if slope != 0.0 => {
                // With y = x − root: τ y' = slope·y + A y², a Bernoulli equation.
                let y = from_k - root;
                let growth = (slope * t).exp_m1();
                let k = self.quadratic * y / slope;
                let below = 1.0 - k * growth;
                // root + y (1 + growth)/below, without the difference of two large numbers where the root is far away.
                (below > 0.0).then(|| from_k + y * growth * (1.0 + k) / below)
            }
            Some((root, _)) => {
                let y = from_k - root;
                let below = 1.0 - self.quadratic * y * t;
                (below > 0.0).then(|| root + y / below)
            }
            None if self.quadratic > 0.0 => {
                let centre = -self.linear / (2.0 * self.quadratic);
                let width = self.half_gap();
                let angle = ((from_k - centre) / width).atan() + self.quadratic * width * t;
                (angle < std::f64::consts::FRAC_PI_2).then(|| centre + width * angle.tan())
            }
            None => Some(from_k + self.constant * t),
        };
        rise.filter(|rise| rise.is_finite())
    }

    /// √(4 A C − B²) / 2 A: how far the parabola of the balance stays away from zero.
    fn half_gap(&self) -> f64 {
        let gap = 4.0 * self.quadratic * self.constant - self.linear * self.linear;
        gap.max(0.0).sqrt() / (2.0 * self.quadratic)
    }

    /// The time until the rise passes `to_k`, started at `from_k`; none when it never does.
    pub fn time_to_s(&self, from_k: f64, to_k: f64) -> Option<f64> {
        if from_k >= to_k {
            return Some(0.0);
        }
        if self.steady_rise_k().is_some_and(|steady| steady <= to_k) {
            return None;
        }
        let t = match self.expansion() {
            Some((root, slope)) if slope != 0.0 => {
                let (y0, y) = (from_k - root, to_k - root);
                let k = self.quadratic * y0 / slope;
                // ln(y (1 + k)/(y0 + k y)), its distance from 1 taken out.
                ((to_k - from_k) / (y0 + k * y)).ln_1p() / slope
            }
            Some((root, _)) => (1.0 / (from_k - root) - 1.0 / (to_k - root)) / self.quadratic,
            None if self.quadratic > 0.0 => {
                let centre = -self.linear / (2.0 * self.quadratic);
                let width = self.half_gap();
                (((to_k - centre) / width).atan() - ((from_k - centre) / width).atan()) / (self.quadratic * width)
            }
            None => (to_k - from_k) / self.constant,
        };
        let seconds = t * self.tau_s;
        (seconds.is_finite() && seconds >= 0.0).then_some(seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALLOY: Curve = Curve { a: 45e-6, b: -0.45e-6, reference_degc: 25.0 };

    /// Worked by hand with the quadratic of the module text: 35 µΩ, 5 K/W, 400 A, 85 °C.
    #[test]
    fn coupled_self_heating_matches_the_hand_calculation() {
        let node = Node::new(ALLOY, 35e-6, 5.0, 4.1, 400.0, 85.0);
        let [a, b, c] = node.coefficients();
        assert!((a - -1.26e-5).abs() < 1e-11 && (b - -1.000_252).abs() < 1e-9 && (c - 28.030_240).abs() < 1e-6);
        assert!((node.steady_degc().expect("stable") - 113.0133).abs() < 5e-5);
        assert!((ALLOY.change(113.013_29) * 1e6 - 474.745).abs() < 5e-3);
        assert_eq!(ALLOY.vertex_degc(), Some(75.0));
    }

    /// Linear case in closed form: T = Ta + g (1 + a d)/(1 − g a); 100 µΩ, 50 ppm/K, 5 K/W, 85 °C, 300 A gives
    /// 130.236783 °C.
    #[test]
    fn linear_curve_has_its_own_closed_form() {
        let node = Node::new(Curve { a: 50e-6, b: 0.0, reference_degc: 25.0 }, 1e-4, 5.0, 1.0, 300.0, 85.0);
        assert!((node.steady_degc().expect("stable") - 130.236_783).abs() < 5e-7);
    }

    #[test]
    fn runaway_is_an_answer_not_a_number() {
        let copper = Curve { a: 3.93e-3, b: 0.0, reference_degc: 20.0 };
        // g a = 1 exactly at I² = 1/(a Rth R0).
        let critical = (1.0 / (3.93e-3 * 10.0 * 1e-3_f64)).sqrt();
        assert!(Node::new(copper, 1e-3, 10.0, 1.0, critical * 0.999, 20.0).steady_rise_k().is_some());
        let node = Node::new(copper, 1e-3, 10.0, 1.0, critical * 1.001, 20.0);
        assert_eq!(node.steady_rise_k(), None);
        let hot = node.rise_after_k(0.0, 10.0).expect("finite after ten seconds");
        let back = node.time_to_s(0.0, hot).expect("it passes");
        assert!((back - 10.0).abs() < 1e-6, "{back}");
    }

    /// Copper, 100 µΩ, 5 J/K, 9 kA, 0.1 s from 20 °C: (exp(α I² R0 t/C) − 1)/α = 226.5 K; with the first power 162 K.
    #[test]
    fn an_adiabatic_rise_follows_the_resistance() {
        let copper = Curve { a: 3.93e-3, b: 0.0, reference_degc: 20.0 };
        let node = Node::adiabatic(copper, 100e-6, 5.0, 9e3, 20.0);
        let rise = node.rise_after_k(0.0, 0.1).expect("finite");
        assert!((rise - ((3.93e-3 * 162.0_f64).exp() - 1.0) / 3.93e-3).abs() < 1e-9 && (rise - 226.5).abs() < 0.05);
        assert!((node.time_to_s(0.0, rise).expect("it passes") - 0.1).abs() < 1e-12);
        let flat = Node::adiabatic(Curve { a: 0.0, ..copper }, 100e-6, 5.0, 9e3, 20.0);
        assert!((flat.rise_after_k(0.0, 0.1).expect("finite") - 162.0).abs() < 1e-9);
    }

    #[test]
    fn the_loop_gain_stays_below_one_at_every_steady_state() {
        for b in [-1e-4, -1e-6, 0.0, 1e-6, 1e-5] {
            for a in [-1e-3, 0.0, 5e-5, 4e-3] {
                for current in [1.0, 50.0, 200.0, 400.0] {
                    let node = Node::new(Curve { a, b, reference_degc: 20.0 }, 1e-3, 2.0, 3.0, current, 30.0);
                    if let Some(gain) = node.loop_gain() {
                        assert!(gain < 1.0, "{a} {b} {current}: {gain}");
                    }
                }
            }
        }
    }

    /// A fourth-order Runge-Kutta run of the same balance is the independent witness, for curves of every kind.
    #[test]
    fn the_time_course_agrees_with_a_numerical_integration() {
        for (a, b, current) in [
            (45e-6, -0.45e-6, 600.0),
            (3.93e-3, 0.0, 300.0),
            (1e-3, 2e-5, 300.0),
            (1e-3, 2e-5, 900.0),
            (0.0, 0.0, 600.0),
            (3.93e-3, 0.0, 2200.0),
        ] {
            let curve = Curve { a, b, reference_degc: 25.0 };
            let node = Node::new(curve, 35e-6, 5.0, 4.1, current, 40.0);
            let rate = |x: f64| (5.0 * current * current * 35e-6 * (1.0 + curve.change(40.0 + x)) - x) / 20.5;
            let (mut x, h) = (3.0, 1e-3);
            for _ in 0..10_000 {
                let k1 = rate(x);
                let k2 = rate(x + h / 2.0 * k1);
                let k3 = rate(x + h / 2.0 * k2);
                let k4 = rate(x + h * k3);
                x += h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
            }
            let closed = node.rise_after_k(3.0, 10.0).expect("no runaway within ten seconds");
            assert!((closed / x - 1.0).abs() < 1e-9, "{a} {b} {current}: {closed} {x}");
            let back = node.time_to_s(3.0, closed).expect("it passes");
            assert!((back - 10.0).abs() < 1e-6, "{a} {b} {current}: {back}");
        }
    }
}
