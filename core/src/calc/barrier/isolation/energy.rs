//! The energy of the Y capacitors, and how a pole loses its voltage to the chassis.
//!
//! Both capacitors give their charge to a body, for the pack recharges the one through the other: half the sum of all
//! capacitances times the square of the touched pole's voltage. The worst pole voltage is that of a fault of the other pole
//! that is still accepted, which moves the chassis to that pole. What this fault refills while the body discharges them is
//! left out: of its resistance R_f and the body's R_b it adds about R_b/R_f, 1 % at 100 ohm per volt.
//! Discharged from pole to pole, both poles keep what the capacitors divide; only bleeders to the chassis remove it.

use serde::Serialize;
use utoipa::ToSchema;

use super::bus::IsolationBus;
use super::input::YCapacitors;
use crate::report::caution::TOUCH_SAFE_V;

/// The Y capacitors of the whole bus.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationY {
    /// All capacitors of both poles and all units, at their upper tolerance; absent where a pole is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_farad: Option<f64>,
    /// Those of the positive pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub positive_farad: Option<f64>,
    /// Those of the negative pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub negative_farad: Option<f64>,
    /// Energy with the chassis in the middle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub balanced_j: Option<f64>,
    /// Energy as the paths divide the voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub divided_j: Option<f64>,
    /// The pole voltage there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub divided_v: Option<f64>,
    /// Energy after a fault of the other pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub one_sided_j: Option<f64>,
    /// The same without what is left at 60 V, as a regulation after a crash counts it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_crash_j: Option<f64>,
    /// Largest capacitance with one pole at the chassis.
    pub largest_farad: f64,
    /// Largest capacitance with the chassis in the middle.
    pub largest_balanced_farad: f64,
    /// Voltage of both poles to the chassis after a discharge from pole to pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_v: Option<f64>,
    /// Capacitance of both poles for which this lasts longest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bleed_farad: Option<f64>,
    /// Time constant of the pole bleeders.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bleed_tau_s: Option<f64>,
    /// Time until the poles are discharged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bleed_s: Option<f64>,
}

/// The capacitances of both poles, each within its tolerance, with which the poles keep a voltage longest, that of the pole
/// which keeps more first. What it keeps is V C/(C + C'), and the time (R/2)(C + C') ln(V C/((C + C') V_s)) grows with C;
/// over C' it is largest where the pole keeps e V_s, or at the end of the tolerance that is nearer.
fn longest(positive: f64, negative: f64, lower: f64, [voltage_v, safe_v]: [f64; 2]) -> [f64; 2] {
    let time = |[larger, other]: [f64; 2]| {
        let sum = larger + other;
        sum * libm::log((voltage_v * larger / (sum * safe_v)).max(f64::MIN_POSITIVE))
    };
    let with = |larger: f64, other: f64| {
        let inside = larger * (voltage_v / (std::f64::consts::E * safe_v) - 1.0);
        [larger, inside.clamp(other * lower, other)]
    };
    let [one, other] = [with(positive, negative), with(negative, positive)];
    if time(other) > time(one) { other } else { one }
}

/// The Y capacitors at a voltage, as the paths of a bus divide it.
pub fn y_capacitors(input: &YCapacitors, units: u32, voltage_v: f64, bus: Option<&IsolationBus>) -> IsolationY {
    let upper = 1.0 + input.tolerance_percent / 100.0;
    let pole = |unit: Option<f64>, shared: f64| unit.map(|unit| (f64::from(units) * unit + shared) * upper);
    let positive = pole(input.unit_positive_farad, input.shared_positive_farad);
    let negative = pole(input.unit_negative_farad, input.shared_negative_farad);
    let total = positive.zip(negative).map(|(p, n)| p + n);
    let energy = |volts: f64| total.map(|c| 0.5 * c * volts * volts);
    let poles = bus.and_then(|bus| bus.negative_v.zip(bus.positive_v));
    let divided_v = poles.map(|(n, p)| n.max(p));
    let square = voltage_v * voltage_v;
    let lower = (1.0 - input.tolerance_percent / 100.0).max(0.0) / upper;
    let pair = positive.zip(negative).map(|(p, n)| longest(p, n, lower, [voltage_v, input.touch_v]));
    let left_v = pair.map(|[larger, other]| if larger > 0.0 { voltage_v * larger / (larger + other) } else { 0.0 });
    let both = pair.map(|[larger, other]| larger + other);
    let tau = input.pole_bleeder_ohm.zip(both).map(|(ohm, c)| ohm / 2.0 * c);
    IsolationY {
        total_farad: total,
        positive_farad: positive,
        negative_farad: negative,
        balanced_j: energy(voltage_v / 2.0),
        divided_j: divided_v.and_then(energy),
        divided_v,
        one_sided_j: energy(voltage_v),
        after_crash_j: total.map(|c| 0.5 * c * (square - TOUCH_SAFE_V * TOUCH_SAFE_V).max(0.0)),
        largest_farad: 2.0 * input.energy_limit_j / square,
        largest_balanced_farad: 8.0 * input.energy_limit_j / square,
        left_v,
        bleed_farad: both,
        bleed_tau_s: tau,
        bleed_s: tau.zip(left_v).map(|(tau, left)| tau * libm::log(left / input.touch_v).max(0.0)),
    }
}
