//! The energy of the Y capacitors, and how a pole loses its voltage to the chassis.
//!
//! Both capacitors give their charge to a body, for the pack recharges the one through the other: half the sum of all
//! capacitances times the square of the touched pole's voltage. The worst pole voltage is that of a fault of the other pole
//! that is still accepted, which moves the chassis to that pole.

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
    /// Time constant of the pole bleeders.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bleed_tau_s: Option<f64>,
    /// Time until the poles are discharged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bleed_s: Option<f64>,
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
    let larger = positive.zip(negative).map(|(p, n)| p.max(n));
    let left_v = larger.zip(total).map(|(larger, c)| if c > 0.0 { voltage_v * larger / c } else { 0.0 });
    let tau = input.pole_bleeder_ohm.zip(total).map(|(ohm, c)| ohm / 2.0 * c);
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
        bleed_tau_s: tau,
        bleed_s: tau.zip(left_v).map(|(tau, left)| tau * libm::log(left / input.touch_v).max(0.0)),
    }
}
