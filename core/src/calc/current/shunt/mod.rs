//! # Current shunt
//!
//! A shunt turns the pack current into a small voltage, and the same current into heat.
//! The heat moves its resistance, its joints make a thermal EMF, and its inductance turns ripple into spikes.
//! It works out signal, heat, stress and error of the part on its own.
//!
//! ```text
//! Formula    V = I R(T), P = I² R(T), R(T) = R0 (1 + a ΔT + b ΔT²), T = Ta + Rth P   (coupled, see thermal)
//!            P_derated = P_r · clamp((T0 − Ta)/(T0 − T1), 0, 1);  I_emf = S ΔT_ends / R0;  f_c = R0 / (2π L)
//! Symbols    R0 [Ω] at T_ref, a [1/K], b [1/K²], Rth [K/W], S [V/K], L [H], ripple amplitude Î [A]
//! Ripple     triangular at 50 % duty: I_rms² = I² + Î²/3, di/dt = 4 Î f, spike L·di/dt/R0
//! Judged     heat of the part with tolerance, spread of the coefficient and drift over life at the ends that heat it most
//! Valid      one thermal node; lumped element far below skin effect; ripple periodic
//! Source     Ohm and Joule; linear derating in the style of IEC 60115-1; copper IEC 60028:1925;
//!            first-order low-pass matching R_f C_f = L/R: common practice, no source
//! ```

pub mod fit;
mod output;
pub mod parallel;
mod part;
mod requirements;
mod signal;
pub mod two_range;
mod view;

use crate::calculation::{Calculation, Meta};
use crate::field::{FieldError, defaulted, group, number, optional};
use crate::input;
use crate::judge::Ledger;
use crate::quantity::Unit;
use crate::report::{Step, View};
use crate::work::{Refused, Work};
pub use output::{
    CompensationOutput, CurvePoint, Emf, ErrorTerm, HottestPart, Inductance, Pulse, ShuntError, ShuntOutput, Signal,
};
pub use part::State;
pub use requirements::OF_PART;
pub use view::balance;

input! {
    /// The shunt as a part.
    pub struct Shunt {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 35e-6), "R0", "Resistance", "Between the sense taps at the reference temperature.";
        tolerance_percent: f64 = number(Unit::Percent, 0.0, 20.0, 1.0), "t", "Tolerance", "Half-width at the reference temperature.";
        tcr_ppm_per_k: f64 = number(Unit::PpmPerKelvin, -10_000.0, 10_000.0, 20.0), "a", "Temperature coefficient", "Slope at the reference temperature, signed.";
        tcr_tolerance_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 10_000.0, 5.0), "ta", "Spread of the coefficient", "Half-width of the part-to-part spread.";
        tcr_quadratic_ppm_per_k2: f64 = defaulted(Unit::PpmPerSquareKelvin, -100.0, 100.0, 0.0).like(-0.5), "b", "Quadratic coefficient", "Curvature, signed; manganese-copper alloys are negative.";
        copper_share_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(1.0), "w", "Copper share", "Part of the tapped resistance that is copper: joints, board.";
        reference_degc: f64 = defaulted(Unit::Celsius, -55.0, 150.0, 20.0), "Tref", "Reference temperature", "Where resistance and coefficient are stated.";
        rated_power_w: f64 = number(Unit::Watt, 1e-3, 1e4, 36.0), "Pr", "Rated power", "Continuous, up to the derating temperature.";
        derate_from_degc: f64 = number(Unit::Celsius, -55.0, 400.0, 100.0), "T1", "Derating begins", "Ambient or terminal, as the part states it.";
        zero_power_degc: f64 = number(Unit::Celsius, -54.0, 500.0, 170.0), "T0", "Zero power at", "End of the derating line.";
        max_element_degc: f64 = number(Unit::Celsius, -54.0, 500.0, 170.0), "Tmax", "Highest element temperature", "Of the element or its joints, whichever is lower.";
        thermal_resistance_k_per_w: f64 = number(Unit::KelvinPerWatt, 0.01, 500.0, 5.0), "Rth", "Thermal resistance", "Element to ambient or busbar, as mounted.";
        heat_capacity_j_per_k: f64 = number(Unit::JoulePerKelvin, 1e-3, 1e4, 4.1), "Cth", "Heat capacity", "Of the element, without the terminals.";
        emf_v_per_k: f64 = number(Unit::VoltPerKelvin, 0.0, 1e-4, 0.8e-6), "S", "Thermal EMF", "Between element and sense wires, as a half-width.";
        end_temperature_difference_k: f64 = number(Unit::Kelvin, 0.0, 100.0, 6.0), "ΔTe", "Difference of the joints", "Between the two sense joints, not the ambient range.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1e-6, 9e-9), "L", "Inductance", "Of the element and the loop of the sense pair.";
        sense_position_error_ohm: f64 = number(Unit::Ohm, 0.0, 0.1, 0.0).like(0.5e-6), "ΔRs", "Tap position error", "Resistance that the position of the taps may add or miss.";
        life_drift_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.15), "da", "Drift over life", "Half-width from new to end of life.";
    }
}

input! {
    /// What the shunt lives through.
    pub struct Operating {
        current_a: f64 = number(Unit::Ampere, 0.0, 1e5, 400.0), "I", "Steady current", "The largest continuous direct current.";
        ambient_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Ta", "Ambient temperature", "Air or busbar, the end of the thermal resistance.";
        smallest_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 5.0), "Imin", "Smallest current of interest", "Where offset and noise matter.";
        pulse_current_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "Ip", "Pulse current", "On top of nothing: the whole current during the pulse.";
        pulse_duration_s: f64 = number(Unit::Second, 1e-6, 1e5, 10.0), "tp", "Pulse duration", "Starting from the steady state.";
        ripple_frequency_hz: f64 = number(Unit::Hertz, 1.0, 1e7, 10e3), "fr", "Ripple frequency", "Of the fundamental.";
        ripple_current_a: f64 = number(Unit::Ampere, 0.0, 1e5, 30.0), "Îr", "Ripple amplitude", "Half of peak to peak, triangular.";
        slew_a_per_s: f64 = number(Unit::AmperePerSecond, 0.0, 1e12, 1e6), "di/dt", "Fastest change of current", "Of a load step or a fault.";
    }
}

input! {
    /// What follows the shunt, as far as it is known here.
    pub struct Readout {
        offset_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "Vos", "Input offset", "Half-width, referred to the shunt; leave empty if unknown.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "un", "Input noise", "Root mean square, referred to the shunt.";
        lsb_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "LSB", "One step of the converter", "Referred to the shunt.";
        allowed_percent: Option<f64> = optional(Unit::Percent, 1e-4, 100.0), "g", "Allowed from offset alone", "At the smallest current: sets the smallest resistance.";
    }
}

input! {
    /// The low-pass that cancels the inductance.
    pub struct Matching {
        series_ohm: f64 = defaulted(Unit::Ohm, 0.1, 1e6, 20.0), "Rf", "Series resistance", "Both legs together.";
        time_constant_error_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 22.0), "eτ", "Mismatch of the time constants", "Half-width; ±10 % capacitor and ±20 % inductance give about 22 %.";
    }
}

input! {
    /// A temperature sensor for correcting R(T) in firmware.
    pub struct Compensation {
        sensor_error_k: f64 = defaulted(Unit::Kelvin, 0.0, 50.0, 2.0), "eT", "Error of the sensor", "Half-width.";
        unseen_rise_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "u", "Rise that the sensor misses", "100 % for a sensor at the busbar, 0 % on the element.";
    }
}

input! {
    /// Everything it takes.
    pub struct ShuntInput {
        shunt: Shunt = group::<Shunt>(), "", "Shunt", "The part.";
        operating: Operating = group::<Operating>(), "", "Operation", "What it lives through.";
        readout: Readout = group::<Readout>(), "", "What follows", "For the smallest signal.";
        matching: Matching = group::<Matching>(), "", "Matching low-pass", "Cancels the inductance.";
        compensation: Compensation = group::<Compensation>(), "", "Correction by temperature", "Is it worth having?";
    }
}

crate::choice! {
    /// What sets the largest continuous current.
    pub enum LimitedBy {
        RatedPower = "rated-power", "derated power";
        ElementTemperature = "element-temperature", "element temperature";
        ThermalRunaway = "thermal-runaway", "thermal runaway";
    }
}

/// What the verdicts rest on.
#[derive(Clone, Copy, Debug)]
pub struct Solved {
    rms_current_a: f64,
    /// None in thermal runaway.
    state: Option<State>,
    hottest: HottestPart,
    derated_power_w: f64,
    largest_current_a: f64,
    largest_current_limited_by: LimitedBy,
    smallest_resistance_ohm: Option<f64>,
    pulse: Pulse,
    inductance: Inductance,
}

/// The calculation.
#[derive(Debug)]
pub struct CurrentShunt;

impl Calculation for CurrentShunt {
    const META: Meta = Meta {
        slug: "shunt",
        title: "Current shunt",
        job: "One part on its own: signal, heat, stress and error. The current channel takes the same values.",
        short: "signal, heat, error",
        sources: &[
            "Ohm's and Joule's laws; coupled heat balance in closed form, derived here",
            "IEC 60115-1: linear derating (shape from memory)",
            "IEC 60028:1925: copper, 3930 ppm/K at 20 °C",
            "Matching low-pass R_f·C_f = L/R and ±10 ppm/K without correction: common practice, no source",
        ],
    };
    type Input = ShuntInput;
    type Solved = Solved;
    type Output = ShuntOutput;

    fn contradictions(input: &ShuntInput) -> Vec<FieldError> {
        input.shunt.contradictions("/shunt", &[input.operating.ambient_degc, input.shunt.max_element_degc])
    }

    fn solve(input: &ShuntInput, _: Work) -> Result<Solved, Refused> {
        let (shunt, op) = (&input.shunt, &input.operating);
        let rms_current_a = (op.current_a.powi(2) + op.ripple_current_a.powi(2) / 3.0).sqrt();
        let state = shunt.at(rms_current_a, op.ambient_degc);
        let (largest_current_a, largest_current_limited_by) = shunt.largest_of_any(op.ambient_degc);
        Ok(Solved {
            rms_current_a,
            state,
            hottest: shunt.hottest(op, rms_current_a),
            derated_power_w: shunt.derated_power_w(op.ambient_degc),
            largest_current_a,
            largest_current_limited_by,
            smallest_resistance_ohm: signal::smallest_resistance_ohm(input),
            pulse: part::pulse(shunt, op, state),
            inductance: signal::inductance(shunt, op, &input.matching),
        })
    }

    fn requirements(input: &ShuntInput, solved: &Solved, to: &mut Ledger) {
        requirements::stress(input, solved, to);
        requirements::signal(input, solved, to);
    }

    fn detail(input: &ShuntInput, solved: Solved, _: Work) -> Result<ShuntOutput, Refused> {
        let (shunt, op, state) = (&input.shunt, &input.operating, solved.state);
        Ok(ShuntOutput {
            signal_v: state.map(|state| op.current_a * state.resistance_ohm),
            rms_current_a: solved.rms_current_a,
            power_w: state.map(|state| state.power_w),
            rise_k: state.map(|state| state.rise_k),
            element_degc: state.map(|state| state.element_degc),
            resistance_ohm: state.map(|state| state.resistance_ohm),
            change_ppm: state.map(|state| state.change * 1e6),
            loop_gain: state.map(|state| state.loop_gain),
            effective_tcr_ppm_per_k: shunt.effective_tcr_ppm_per_k(),
            smallest_resistance_ohm: solved.smallest_resistance_ohm,
            derated_power_w: solved.derated_power_w,
            runaway_current_a: shunt.runaway_current_a(op.ambient_degc),
            hottest: solved.hottest,
            largest_current_a: solved.largest_current_a,
            largest_current_limited_by: solved.largest_current_limited_by,
            pulse: solved.pulse,
            emf: Emf {
                voltage_v: shunt.emf_v_per_k * shunt.end_temperature_difference_k,
                current_a: shunt.emf_current_a(),
                dominates_below_a: (shunt.tolerance_percent > 0.0)
                    .then(|| shunt.emf_current_a() / (shunt.tolerance_percent / 100.0)),
            },
            inductance: solved.inductance,
            error: state.map(|state| signal::error_at(shunt, op.current_a, state)),
            signals: signal::signals(shunt, op),
            curve: signal::curve(shunt, op.ambient_degc, state),
            compensation: state.map(|state| signal::compensation(shunt, op, state, &input.compensation)),
        })
    }

    fn working(input: &ShuntInput, result: &ShuntOutput) -> Vec<Step> {
        view::working(input, result)
    }

    fn cautions(_: &ShuntInput, result: &ShuntOutput) -> Vec<String> {
        view::cautions(result)
    }

    fn view(input: &ShuntInput, result: &ShuntOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}
