//! # A temperature from what was read
//!
//! Someone with a meter or a log has a resistance, a voltage or a code and asks which temperature it stands for.
//!
//! ```text
//! Formula    voltage → code = V/step → resistance by the read-out turned round → temperature by the curve turned round
//! Valid      nominal parts: what firmware shows, without leads, leakage and self-heating taken off
//! Source     Ohm's law; inverse of the chosen curve
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::curve::Curve;
use super::input::ThermistorInput;

/// What was read and the temperature it stands for.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ReadBack {
    /// What was read: `resistance`, `voltage` or `code`.
    pub from: &'static str,
    /// The resistance it stands for, Ω; absent when no resistance gives it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_ohm: Option<f64>,
    /// The temperature, °C; absent when the curve does not lead to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degc: Option<f64>,
}

/// The temperature of each value that was given.
pub(super) fn read_back(input: &ThermistorInput, curve: &Curve) -> Vec<ReadBack> {
    let (given, read_out) = (&input.reading, input.read_out());
    let of_code = |code: f64| read_out.ohm(code);
    let by_voltage = |volt: f64| read_out.step_v().and_then(|step| of_code(volt / step));
    [
        given.resistance_ohm.map(|ohm| ("resistance", Some(ohm))),
        given.voltage_v.map(|volt| ("voltage", by_voltage(volt))),
        given.code.map(|code| ("code", of_code(code))),
    ]
    .into_iter()
    .flatten()
    .map(|(from, resistance_ohm)| {
        let degc = resistance_ohm.and_then(|ohm| curve.degc(ohm)).filter(|degc| degc.is_finite());
        ReadBack { from, resistance_ohm, degc }
    })
    .collect()
}
