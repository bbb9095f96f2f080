//! # Cell balancing
//!
//! A resistor bleeds the fullest cells until they agree with the others; or a converter moves the charge. Heat limits how
//! many channels are on, the daily mismatch of the leakage is what must be made up for, and the error of the cell voltage
//! on the slope of the open-circuit voltage is the imbalance that nothing can remove.
//!
//! ```text
//! Formula    I = V/(R + Rs + 2 Rw); t = ds Q/(I d), or along the open-circuit voltage (curve); board n I² (R + Rs) d
//!            judged: ds Q/(I d − dI), because the cell that is bled may be the one that leaks least
//!            temperature Ta + Rb P_board + Rr I² R, the resistor warm while it is on; daily need 24 dI; floor e/(dU/ds)
//!            wires: the worst pattern of the channels that are on; without a pause its drop adds to e
//!            transfer: t = ds Q/It, loss dQ V (1 − η) + Ps t; it saves n dI V η for the daily need
//! Symbols    V [V] cell, R, Rs, Rw [Ω] resistor, switch, wire, d duty, n channels on, Q [Ah], dI [A] mismatch
//! Valid      rested cells; steady heat; one imbalance for every channel that is on
//! Source     Ohm's law, Joule heat, charge balance; integrals derived here and checked against an ODE solver
//! ```

mod bleeding;
mod curve;
mod requirements;
mod view;
mod wires;

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Meta};
use crate::field::{FieldError, defaulted, group, list, number, optional, whole};
use crate::input;
use crate::judge::Ledger;
use crate::quantity::{Unit, percent};
use crate::report::{Step, View};
use crate::work::{Refused, Work};

input! {
    /// One point of the open-circuit voltage.
    pub struct OcvPoint {
        soc_percent: f64 = number(Unit::Percent, 0.0, 100.0, 50.0), "s", "State of charge", "Rising from row to row.";
        ocv_v: f64 = number(Unit::Volt, 0.1, 10.0, 3.65), "Uoc", "Open-circuit voltage", "Rising or level.";
    }
}

input! {
    /// How the cell voltage depends on the charge.
    pub struct CellCurve {
        points: Vec<OcvPoint> = list::<OcvPoint>(0, 200, ""), "", "Open-circuit voltage", "One point a line: state of charge, voltage; leave empty for a constant voltage.";
        start_soc_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 90.0), "s0", "State of charge of the full cell", "Where bleeding starts; used with points.";
    }
}

input! {
    /// What limits the accuracy.
    pub struct BalancingAccuracy {
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0).like(5e-3), "e", "Error of the cell voltage", "Half-width, of one cell against another; leave empty if unknown.";
        slope_v_per_percent: Option<f64> = optional(Unit::VoltPerPercent, 0.0, 1.0), "dU/ds", "Slope of the open-circuit voltage", "Where the cells are compared; empty: from the points.";
        leak_mismatch_a: f64 = defaulted(Unit::Ampere, 0.0, 1.0, 120e-6), "dI", "Mismatch of the leakage", "Between two cells, electronics included.";
    }
}

input! {
    /// Heat and time.
    pub struct BalancingLimits {
        time_h: Option<f64> = optional(Unit::Hour, 1e-3, 1e5), "tmax", "Allowed time", "To remove the imbalance; leave empty if none.";
        board_w: Option<f64> = optional(Unit::Watt, 1e-3, 1e5), "Pmax", "Allowed power of the board", "Leave empty if none.";
        resistor_w: Option<f64> = optional(Unit::Watt, 1e-4, 1e4), "Pr", "Rated power of a bleed resistor", "At the temperature of the board; leave empty if unknown.";
        limit_degc: Option<f64> = optional(Unit::Celsius, -50.0, 400.0), "Tmax", "Allowed temperature of a resistor", "Leave empty if none.";
        ambient_degc: f64 = defaulted(Unit::Celsius, -80.0, 150.0, 45.0), "Ta", "Ambient temperature", "Hottest while balancing.";
        board_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 0.0, 1e3), "Rb", "Thermal resistance of the board", "Board to ambient, all channels on.";
        resistor_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 0.0, 1e4), "Rr", "Thermal resistance of a resistor", "Resistor to board.";
    }
}

input! {
    /// Moving the charge instead of burning it.
    pub struct ActiveBalancing {
        current_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e3), "It", "Transfer current", "Out of the full cell; leave empty to leave it out.";
        efficiency_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 80.0), "η", "Efficiency", "Charge that arrives, in energy.";
        standby_w: f64 = defaulted(Unit::Watt, 0.0, 1e3, 20e-3), "Ps", "Standby power", "Of the whole transfer circuit, all the time.";
    }
}

input! {
    /// Everything balancing takes.
    pub struct BalancingInput {
        cell_v: f64 = number(Unit::Volt, 0.1, 10.0, 4.0), "V", "Cell voltage while bleeding", "Taken as constant, unless points are given.";
        capacity_ah: f64 = number(Unit::AmpereHour, 1e-3, 1e5, 120.0), "Q", "Capacity of the cell", "Of the parallel group.";
        imbalance_percent: f64 = number(Unit::Percent, 1e-3, 100.0, 2.0), "ds", "Imbalance to remove", "In state of charge.";
        bleed_ohm: f64 = number(Unit::Ohm, 1e-2, 1e6, 39.0), "R", "Bleed resistor", "Of one channel.";
        switch_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e5, 0.0).like(0.5), "Rs", "Switch resistance", "In series with it.";
        wire_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e3, 0.0).like(0.1), "Rw", "Resistance of one sense wire", "When the bleed current flows in it; the wire between two cells serves both.";
        duty_percent: f64 = number(Unit::Percent, 0.1, 100.0, 75.0), "d", "Duty", "Time on; the pauses are for measuring.";
        channels_on: u32 = whole(Unit::One, 1, 10_000, 66), "n", "Channels on at once", "On one board.";
        curve: CellCurve = group::<CellCurve>(), "", "Curve of the cell", "For the falling voltage.";
        accuracy: BalancingAccuracy = group::<BalancingAccuracy>(), "", "Accuracy", "What can be told apart at all.";
        limits: BalancingLimits = group::<BalancingLimits>(), "", "Heat and time", "Limits and thermal resistances.";
        active: ActiveBalancing = group::<ActiveBalancing>(), "", "Active balancing", "For comparison.";
    }
}

impl BalancingInput {
    /// The resistance of the whole bleed path, Ω.
    fn path_ohm(&self) -> f64 {
        self.bleed_ohm + self.switch_ohm + 2.0 * self.wire_ohm
    }

    /// Whether the cells can be read while no wire carries a bleed current.
    fn has_pause(&self) -> bool {
        self.duty_percent < 100.0
    }

    /// Error of comparing two cells, V: without a pause with the drop in the wires.
    fn compared_v(&self, wire: &BalancingWire) -> Option<f64> {
        let drop = if self.has_pause() { 0.0 } else { wire.difference_v };
        self.accuracy.error_v.map(|error| error + drop)
    }

    /// Share of the time.
    fn duty(&self) -> f64 {
        self.duty_percent / 100.0
    }
}

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingOutput {
    /// Burning the charge.
    pub passive: BalancingPassive,
    /// What the bleed current does to the measurement.
    pub wire: BalancingWire,
    /// What balancing has to make up for every day.
    pub daily: BalancingDaily,
    /// The imbalance that cannot be told from zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub floor: Option<BalancingFloor>,
    /// Moving the charge, for comparison.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active: Option<BalancingActive>,
    /// The imbalance over time.
    pub course: Vec<BalancingPoint>,
    /// The floor over the state of charge, from the points.
    pub floor_curve: Vec<BalancingFloorPoint>,
}

/// Burning the charge.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingPassive {
    /// Cell voltage at the start, V.
    pub start_v: f64,
    /// Cell voltage at the end, V.
    pub end_v: f64,
    /// Current while on, at the start, A.
    pub current_a: f64,
    /// Largest current of a channel, inside a run of neighbours that bleed, A.
    pub largest_a: f64,
    /// Current while on, at the end, A.
    pub end_current_a: f64,
    /// Largest power of one channel while on, W.
    pub channel_w: f64,
    /// Largest power of its resistor while on, W.
    pub resistor_w: f64,
    /// Mean power of the board, all channels in one run, W.
    pub board_w: f64,
    /// Charge to remove, Ah.
    pub charge_ah: f64,
    /// Time to remove it by bleeding alone, s.
    pub time_s: f64,
    /// The same, h.
    pub time_h: f64,
    /// Time to remove it while the mismatch of the leakage works against it, h: what is judged; absent where it stays for ever.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against_leak_h: Option<f64>,
    /// Current while on where the cells are level, with the mismatch of the leakage, A.
    pub least_a: f64,
    /// Time at constant voltage, by bleeding alone, h.
    pub constant_h: f64,
    /// Energy lost by one cell, J.
    pub energy_j: f64,
    /// Board temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub board_degc: Option<f64>,
    /// Resistor temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistor_degc: Option<f64>,
}

impl BalancingPassive {
    /// The resistor, or the board when that is all that is known, °C.
    fn hottest_degc(&self) -> Option<f64> {
        self.resistor_degc.or(self.board_degc)
    }

    /// Mean current of bleeding where it is lowest, pauses included, A.
    fn mean_a(&self, input: &BalancingInput) -> f64 {
        self.least_a.min(self.current_a) * input.duty()
    }
}

/// What the bleed current does to the measurement, when it flows in the sense wires.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingWire {
    /// Reading of a cell that bleeds alone, V off.
    pub own_v: f64,
    /// Reading of a cell between two runs of cells that bleed, V off.
    pub neighbour_v: f64,
    /// Apparent difference between two cells in the worst pattern, V.
    pub difference_v: f64,
}

/// What balancing has to make up for every day.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingDaily {
    /// Charge by which two cells part, Ah per day.
    pub need_ah_per_day: f64,
    /// Bleeding time for it, s per day, pauses included.
    pub bleed_s: f64,
    /// The same, min per day.
    pub bleed_min: f64,
    /// Whether bleeding gains on it.
    pub keeps_up: bool,
    /// Imbalance that grows in 30 days without balancing, percent.
    pub month_percent: f64,
}

/// The imbalance that cannot be told from zero.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingFloor {
    /// Slope where the cells are compared, V per percent.
    pub slope_v_per_percent: f64,
    /// Error of the comparison, V: without a pause with the drop in the wires.
    pub error_v: f64,
    /// The floor, percent; absent where the curve is level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<f64>,
    /// Largest voltage error that lets the given imbalance be seen, V.
    pub allowed_error_v: f64,
}

/// Moving the charge.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingActive {
    /// Time for the imbalance of one cell, h.
    pub time_h: f64,
    /// Energy lost by the transfer of one cell's imbalance, J.
    pub transfer_loss_j: f64,
    /// Energy of the standby during that time, J.
    pub standby_j: f64,
    /// Both, J.
    pub loss_j: f64,
    /// Energy saved against burning, for all channels once, J.
    pub saved_j: f64,
    /// Days of standby that use up what one balancing of all channels saves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub break_even_days: Option<f64>,
    /// Standby power that uses up what the daily need saves, W.
    pub break_even_w: f64,
}

/// A point of the imbalance over time.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingPoint {
    /// Time, h.
    pub time_h: f64,
    /// Imbalance left by bleeding, percent.
    pub passive_percent: f64,
    /// Imbalance left by the transfer, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active_percent: Option<f64>,
}

/// The floor at a state of charge.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingFloorPoint {
    /// State of charge, percent.
    pub soc_percent: f64,
    /// The floor, percent.
    pub floor_percent: f64,
}

/// What its verdicts rest on.
#[derive(Clone, Copy, Debug)]
pub struct Solved {
    passive: BalancingPassive,
    wire: BalancingWire,
    daily: BalancingDaily,
    floor: Option<BalancingFloor>,
    active: Option<BalancingActive>,
}

/// The calculation.
#[derive(Debug)]
pub struct Balancing;

impl Calculation for Balancing {
    const META: Meta = Meta {
        slug: "balancing",
        title: "Cell balancing",
        job: "Current, heat and time of bleeding, what it must make up for daily, and the imbalance nothing can remove.",
        short: "current, heat, time, floor",
        sources: &["Ohm's law, Joule heat, charge balance", "Time along the open-circuit voltage: derived here"],
    };
    type Input = BalancingInput;
    type Solved = Solved;
    type Output = BalancingOutput;

    fn contradictions(input: &BalancingInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn solve(input: &BalancingInput, _: Work) -> Result<Solved, Refused> {
        Ok(bleeding::solve(input))
    }

    fn requirements(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        requirements::remarks(input, solved, to);
    }

    fn detail(input: &BalancingInput, solved: Solved, _: Work) -> Result<BalancingOutput, Refused> {
        let Solved { passive, wire, daily, floor, active } = solved;
        let course = bleeding::course(input, &passive);
        let floor_curve = bleeding::floor_curve(input, &wire);
        Ok(BalancingOutput { passive, wire, daily, floor, active, course, floor_curve })
    }

    fn working(input: &BalancingInput, output: &BalancingOutput) -> Vec<Step> {
        view::working(input, output)
    }

    fn cautions(_: &BalancingInput, output: &BalancingOutput) -> Vec<String> {
        view::cautions(output)
    }

    fn view(input: &BalancingInput, output: &BalancingOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

fn contradictions(input: &BalancingInput) -> Vec<FieldError> {
    let points = &input.curve.points;
    let (low, high) = match points.as_slice() {
        [] => return Vec::new(),
        [_] => {
            let (message, accepted) = ("One point makes no curve.", "no point, or two and more");
            return vec![FieldError::contradiction("/curve/points", message, accepted, 1)];
        }
        [first, .., last] => (first.soc_percent, last.soc_percent),
    };
    let mut faults = Vec::new();
    for (row, pair) in points.windows(2).enumerate() {
        if pair[1].soc_percent <= pair[0].soc_percent {
            faults.push(FieldError::contradiction(
                &format!("/curve/points/{}/soc_percent", row + 1),
                "The states of charge must rise from row to row.",
                format!("above {}", percent(pair[0].soc_percent)),
                percent(pair[1].soc_percent),
            ));
        }
        faults.extend(FieldError::below(
            &format!("/curve/points/{}/ocv_v", row + 1),
            "The open-circuit voltage must not fall with the state of charge.",
            Some(pair[1].ocv_v),
            pair[0].ocv_v,
            Unit::Volt,
        ));
    }
    let start = input.curve.start_soc_percent;
    let end = start - input.imbalance_percent;
    if faults.is_empty() && (start > high || end < low) {
        let least = low + input.imbalance_percent;
        let accepted = if least <= high {
            format!("between {} and {}", percent(least), percent(high))
        } else {
            format!("points that cover {} at least, or a smaller imbalance", percent(input.imbalance_percent))
        };
        faults.push(FieldError::contradiction(
            "/curve/start_soc_percent",
            format!(
                "Bleeding runs from {} to {}; the points cover {} to {}.",
                percent(start),
                percent(end),
                percent(low),
                percent(high)
            ),
            accepted,
            percent(start),
        ));
    }
    faults
}
