//! # Table for firmware
//!
//! Firmware turns a code into a temperature with a few nodes and straight lines between them. The nodes are chosen so that
//! the error stays within a limit with as few of them as possible, all numbers are integers, and every code is tried.
//!
//! ```text
//! Formula    T(c) = T_i + (T_{i+1} − T_i)(c − c_i)/(c_{i+1} − c_i) in output steps, rounded to the nearest, halves away from 0
//! Limit      lines stay within e less half an output step of the curve, so that the rounded result stays within e
//! Placement  see nodes; code c stands for the signal c/2ᴺ of full scale
//! Verified   the integer function at every code of the table against the curve, rounding included
//! Valid      at most 65 536 codes; the error of the sensor and the step of the converter come on top
//! Source     chord error of a curve; minimum-link paths; integer rounding by hand
//! ```

mod emit;
pub mod nodes;
mod view;

use serde::Serialize;
use utoipa::ToSchema;

use super::curve::Curve;
use super::input::{
    Beta, CurrentSource, CurveKind, Divider, Oscillator, Platinum, Points, ReadOutKind, SensorConverter,
    SteinhartHartInput, ThermistorInput, Wiring,
};
use super::{range_faults, wire};
use crate::address::short_enough;
use crate::calculation::{Calculation, Depth, ENGINE, Entry, Meta};
use crate::field::{self, FieldError, Group, defaulted, group, number, text, whole};
use crate::input;
use crate::judge::Ledger;
use crate::quantity::{Unit, kelvin, say};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};
use nodes::{Corridor, Node};

crate::choice! {
    /// Where the nodes may lie.
    pub enum Placement {
        OnCurve = "on-curve", "On the curve";
        Offset = "offset", "Beside the curve, within the limit: fewest";
    }
}

input! {
    /// Everything the table takes.
    pub struct ThermistorTableInput {
        curve: CurveKind = CurveKind::Beta.chosen(), "", "Sensor", "Its values are taken from the group of the same name.";
        beta: Beta = group::<Beta>(), "", "Beta", "Used when the sensor is given by R25 and beta.";
        steinhart_hart: SteinhartHartInput = group::<SteinhartHartInput>(), "", "Steinhart-Hart", "Used when the sensor is given by Steinhart-Hart coefficients.";
        points: Points = group::<Points>(), "", "Measured points", "Used when the sensor is given by measured points.";
        platinum: Platinum = group::<Platinum>(), "", "Platinum sensor", "Used when the sensor is a platinum sensor.";
        read_out: ReadOutKind = ReadOutKind::Divider.chosen(), "", "Read-out", "Its values are taken from the group of the same name.";
        divider: Divider = group::<Divider>(), "", "Divider", "Used when the read-out is a divider.";
        oscillator: Oscillator = group::<Oscillator>(), "", "Oscillator", "Used when the read-out is an oscillator.";
        current: CurrentSource = group::<CurrentSource>(), "", "Constant current", "Used when the read-out is a constant current.";
        converter: SensorConverter = group::<SensorConverter>(), "", "Converter", "Used when the read-out is a divider or a constant current.";
        wiring: Wiring = group::<Wiring>(), "", "Wiring", "For the codes of an open and a shorted sensor; the table holds without it.";
        min_degc: f64 = number(Unit::Celsius, -200.0, 850.0, -40.0), "Tmin", "Coldest", "Of the table.";
        max_degc: f64 = number(Unit::Celsius, -200.0, 850.0, 125.0), "Tmax", "Hottest", "Of the table.";
        max_error_k: f64 = number(Unit::Kelvin, 1e-3, 20.0, 0.25), "e", "Largest error", "Of table and integer arithmetic together.";
        placement: Placement = Placement::OnCurve.chosen(), "", "Nodes", "Where they may lie.";
        steps_per_k: u32 = whole(Unit::One, 1, 1000, 100), "", "Output steps per kelvin", "100 gives hundredths of a kelvin.";
        threshold_share_percent: f64 = defaulted(Unit::Percent, 1.0, 99.0, 50.0), "", "Wire thresholds at", "Share of the way from the sensor at the end of the table, its error included, to the code of the fault.";
        name: String = text(31, "temperature"), "", "Name in C", "Small letters, digits and underscores.";
    }
}

/// What the table answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThermistorTableOutput {
    /// The nodes, by rising code.
    pub nodes: Vec<TableNode>,
    /// How many there are.
    pub node_count: u32,
    /// Output steps per kelvin.
    pub steps_per_k: u32,
    /// First code of the table.
    pub code_min: u32,
    /// Last code of the table.
    pub code_max: u32,
    /// Largest error of the integer function over every code, K.
    pub worst_error_k: f64,
    /// The code where it is.
    pub worst_error_code: u32,
    /// The temperature there, °C.
    pub worst_error_degc: f64,
    /// Largest step from one code to the next, K: what the converter resolves at worst.
    pub largest_step_k: f64,
    /// About how many nodes the bend of the curve asks for.
    pub estimate: f64,
    /// Other ways to place nodes, for comparison.
    pub placements: Vec<TablePlacement>,
    /// Open wire.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open: Option<WireLimit>,
    /// Shorted sensor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short: Option<WireLimit>,
    /// Codes and the values that the function must give for them.
    pub vectors: Vec<TableVector>,
    /// The nodes as comma-separated text.
    pub csv: String,
    /// The table and its function as a C99 header.
    pub c_header: String,
    /// Code and error of the integer function there, K: for the chart.
    #[serde(skip)]
    #[schema(ignore)]
    errors: Vec<[f64; 2]>,
}

/// A node.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TableNode {
    /// Code.
    pub code: u32,
    /// Value in output steps.
    pub value: i64,
    /// The same, °C.
    pub degc: f64,
    /// Node less curve, K.
    pub offset_k: f64,
}

/// One way to place nodes.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TablePlacement {
    /// Which.
    pub placement: String,
    /// Nodes needed for the same error; absent when more than 600.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nodes: Option<u32>,
}

/// A threshold that parts a fault of the wires from the temperatures of the table.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WireLimit {
    /// The code of the fault.
    pub fault_code: u32,
    /// The threshold.
    pub threshold_code: u32,
    /// Whether the fault lies above the table.
    pub above: bool,
}

/// A test vector.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TableVector {
    /// Code.
    pub code: u32,
    /// Value in output steps.
    pub value: i64,
}

/// The calculation.
#[derive(Debug)]
pub struct ThermistorTable;

impl Calculation for ThermistorTable {
    const META: Meta = Meta {
        slug: "thermistor/table",
        title: "Temperature table for firmware",
        job: "The fewest nodes for a largest error, in integers, tried at every code, as JSON, CSV and a C header.",
        short: "nodes, integers, C header",
        sources: &[
            "Chord error of a curve and minimum-link paths: closed form and textbook geometry",
            "IEC 60751:2022, Steinhart and Hart 1968, IEC 60539-1 (the curves)",
            "Integer interpolation tried at every code: by exhaustion",
        ],
    };
    type Input = ThermistorTableInput;
    /// The answer without its texts.
    type Solved = ThermistorTableOutput;
    type Output = ThermistorTableOutput;

    fn cost(input: &ThermistorTableInput, _: Depth, _: Work) -> Cost {
        // Every code is tried, of 65,536 at most.
        Cost { units: 3_000_000, bytes: 1 << 21 }.and(Cost::rows(input.points.rows.len()))
    }

    fn solve(input: &ThermistorTableInput, work: Work) -> Result<ThermistorTableOutput, Refused> {
        let channel = input.channel();
        let curve = channel.ready_curve()?;
        let mut faults = range_faults(input.min_degc, input.max_degc, &curve);
        faults.extend(form_faults(input));
        if !faults.is_empty() {
            return Err(faults.into());
        }
        let codes = codes(&channel, &curve)?;
        work.go_on()?;
        Ok(solve(input, &channel, &curve, &codes))
    }

    fn requirements(input: &ThermistorTableInput, solved: &ThermistorTableOutput, to: &mut Ledger) {
        remarks(input, solved, to);
    }

    fn detail(
        input: &ThermistorTableInput,
        mut solved: ThermistorTableOutput,
        _: Work,
    ) -> Result<ThermistorTableOutput, Refused> {
        solved.csv = emit::csv(&solved);
        let link = short_enough(Entry::of::<Self>().address(&input.write()));
        let link = link.unwrap_or_else(|| "values that are too long for an address".into());
        solved.c_header = emit::c_header(&input.name, ENGINE, &link, &solved);
        Ok(solved)
    }

    fn working(input: &ThermistorTableInput, result: &ThermistorTableOutput) -> Vec<Step> {
        view::working(input, result)
    }

    fn cautions(_: &ThermistorTableInput, _: &ThermistorTableOutput) -> Vec<String> {
        vec!["The end value is returned for codes outside the table: ask the state of the wires before using a temperature.".into()]
    }

    fn view(input: &ThermistorTableInput, result: &ThermistorTableOutput, _: &Ledger) -> View {
        view::view(input, result, &result.errors)
    }
}

/// Most codes of a table.
const MOST_CODES: f64 = 65_536.0;

/// The codes of a range and the temperature of each.
struct Codes {
    first: u32,
    degc: Vec<f64>,
}

impl ThermistorTableInput {
    /// The same sensor and chain as a channel.
    fn channel(&self) -> ThermistorInput {
        let mut channel: ThermistorInput = field::start();
        channel.curve = self.curve;
        channel.beta = self.beta.clone();
        channel.steinhart_hart = self.steinhart_hart.clone();
        channel.points = self.points.clone();
        channel.platinum = self.platinum.clone();
        channel.read_out = self.read_out;
        channel.divider = self.divider.clone();
        channel.oscillator = self.oscillator.clone();
        channel.current = self.current.clone();
        channel.converter = self.converter.clone();
        channel.wiring = self.wiring.clone();
        channel.min_degc = self.min_degc;
        channel.max_degc = self.max_degc;
        channel
    }
}

fn form_faults(input: &ThermistorTableInput) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let step = 1.0 / f64::from(input.steps_per_k);
    if input.max_error_k < step {
        faults.push(FieldError::contradiction(
            "/max_error_k",
            format!(
                "Rounding alone takes up to one output step, {}; the largest error must be at least that.",
                say(step, Unit::Kelvin)
            ),
            format!("at least {}", say(step, Unit::Kelvin)),
            say(input.max_error_k, Unit::Kelvin),
        ));
    }
    let mut letters = input.name.chars();
    let begins = letters.next().is_some_and(|first| first.is_ascii_lowercase());
    if !(begins && letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')) {
        faults.push(FieldError::contradiction(
            "/name",
            "The name becomes part of names in C: a small letter first, then small letters, digits and underscores.",
            "such as temperature or cell_1",
            &input.name,
        ));
    }
    faults
}

/// The whole codes between both ends of the range and their temperatures.
fn codes(channel: &ThermistorInput, curve: &Curve) -> Result<Codes, Vec<FieldError>> {
    let read_out = channel.read_out();
    let at = |degc: f64| curve.ohm(degc).map(|ohm| read_out.code(ohm));
    let refused = |message: String, accepted: &str, got: String| {
        vec![FieldError::contradiction("/max_degc", message, accepted, got)]
    };
    let (Some(cold), Some(hot)) = (at(channel.min_degc), at(channel.max_degc)) else {
        return Err(refused(
            "The curve gives no resistance at an end of the range.".into(),
            "a range on the curve",
            String::from("this range"),
        ));
    };
    let (low, high) = (cold.min(hot).ceil(), cold.max(hot).floor());
    if !(high - low >= 3.0) {
        return Err(refused(
            format!(
                "From {} to {} there are fewer than four codes.",
                say(channel.min_degc, Unit::Celsius),
                say(channel.max_degc, Unit::Celsius)
            ),
            "a range of at least four codes: a wider range, more bits or a longer gate",
            format!("{} to {}", say(low, Unit::One), say(high, Unit::One)),
        ));
    }
    if !(high - low < MOST_CODES) || high > f64::from(u32::MAX) {
        return Err(refused(
            format!(
                "The range has {} codes; a table is tried at every code and takes at most 65 536.",
                say(high - low + 1.0, Unit::One)
            ),
            "a range of at most 65 536 codes: fewer bits or counts",
            say(high - low + 1.0, Unit::One),
        ));
    }
    if let Some(codes) = read_out.codes().filter(|codes| high > codes - 1.0) {
        return Err(refused(
            format!(
                "The range needs code {}; the converter ends at {}.",
                say(high, Unit::One),
                say(codes - 1.0, Unit::One)
            ),
            "a signal inside the full scale of the converter",
            say(high, Unit::One),
        ));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, from 0 to 2^32 − 1")]
    let (first, last) = (low as u32, high as u32);
    let degc: Option<Vec<f64>> =
        (first..=last).map(|code| read_out.ohm(f64::from(code)).and_then(|ohm| curve.degc(ohm))).collect();
    degc.map(|degc| Codes { first, degc }).ok_or_else(|| {
        refused(
            "Some codes of this range lead to no temperature.".into(),
            "a range on the curve",
            String::from("this range"),
        )
    })
}

fn solve(
    input: &ThermistorTableInput,
    channel: &ThermistorInput,
    curve: &Curve,
    codes: &Codes,
) -> ThermistorTableOutput {
    let steps = f64::from(input.steps_per_k);
    let values: Vec<f64> = codes.degc.iter().map(|degc| degc * steps).collect();
    let allowed = input.max_error_k * steps;
    // Half a step is kept for the rounding of the result.
    let corridor = Corridor { values: &values, allowed: (allowed - 0.5).max(0.5) };
    let on_curve = corridor.on_curve();
    // With hardly any room beside the curve the whole numbers decide, and the curve itself may need fewer.
    let offset = Some(corridor.offset()).filter(|nodes| nodes.len() < on_curve.len());
    let offset = offset.unwrap_or_else(|| on_curve.clone());
    let chosen = match input.placement {
        Placement::OnCurve => &on_curve,
        Placement::Offset => &offset,
    };
    let errors: Vec<f64> = values
        .iter()
        .enumerate()
        .map(|(code, value)| (nodes::interpolate(chosen, code) as f64 - value) / steps)
        .collect();
    let worst = (0..errors.len()).max_by(|a, b| errors[*a].abs().total_cmp(&errors[*b].abs())).unwrap_or(0);
    let code = |place: usize| codes.first + u32::try_from(place).unwrap_or(0);
    let exact = Corridor { values: &values, allowed };
    let read_out = channel.read_out();
    let first = f64::from(codes.first);
    let by_temperature = |share: f64| {
        let degc = input.min_degc + (input.max_degc - input.min_degc) * share;
        curve.ohm(degc).map(|ohm| [read_out.code(ohm) - first, degc * steps])
    };
    let last = (values.len() - 1) as f64;
    let by_code = |share: f64| {
        let degc = read_out.ohm(first + last * share).and_then(|ohm| curve.degc(ohm));
        degc.map(|degc| [last * share, degc * steps])
    };
    let count = |nodes: &[Node]| u32::try_from(nodes.len()).ok();
    let placement = |placement: &str, nodes: Option<u32>| TablePlacement { placement: placement.into(), nodes };
    let placements = vec![
        placement("On the curve, free", count(&on_curve)),
        placement("Beside the curve, free", count(&offset)),
        placement("Equal steps of temperature", nodes::evenly(&exact, by_temperature)),
        placement("Equal steps of code", nodes::evenly(&exact, by_code)),
    ];
    let share = input.threshold_share_percent / 100.0;
    ThermistorTableOutput {
        nodes: chosen
            .iter()
            .map(|(place, value)| TableNode {
                code: code(*place),
                value: *value,
                degc: *value as f64 / steps,
                offset_k: *value as f64 / steps - codes.degc[*place],
            })
            .collect(),
        node_count: count(chosen).unwrap_or(0),
        steps_per_k: input.steps_per_k,
        code_min: codes.first,
        code_max: code(values.len() - 1),
        worst_error_k: errors[worst].abs(),
        worst_error_code: code(worst),
        worst_error_degc: codes.degc[worst],
        largest_step_k: codes.degc.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f64::max),
        estimate: exact.estimate(),
        placements,
        open: limit(wire::open_code(channel), wire::part_open(channel, curve, share), codes),
        short: limit(wire::short_code(channel), wire::part_short(channel, curve, share), codes),
        vectors: vectors(chosen, codes),
        csv: String::new(),
        c_header: String::new(),
        errors: errors.iter().enumerate().map(|(place, error)| [f64::from(code(place)), *error]).collect(),
    }
}

/// The threshold between the end of the table and the code of a fault, the same as the temperature channel gives; none when
/// the fault cannot be told from a working sensor.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0 .. 2^32 − 1 before")]
fn limit(fault: Option<f64>, parting: wire::Parting, codes: &Codes) -> Option<WireLimit> {
    let fault = fault?.round().clamp(0.0, f64::from(u32::MAX));
    let threshold = parting.threshold_code?;
    let (first, last) = (f64::from(codes.first), f64::from(codes.first) + (codes.degc.len() - 1) as f64);
    let threshold = if fault > last {
        threshold.clamp(last + 1.0, fault)
    } else if fault < first {
        threshold.clamp(fault, first - 1.0)
    } else {
        return None;
    };
    Some(WireLimit { fault_code: fault as u32, threshold_code: threshold as u32, above: fault > last })
}

fn vectors(nodes: &[Node], codes: &Codes) -> Vec<TableVector> {
    const COUNT: usize = 16;
    let last = codes.degc.len() - 1;
    let mut places: Vec<usize> = (0..COUNT).map(|step| last * step / (COUNT - 1)).collect();
    places.dedup();
    places
        .into_iter()
        .map(|place| TableVector {
            code: codes.first + u32::try_from(place).unwrap_or(0),
            value: nodes::interpolate(nodes, place),
        })
        .collect()
}

fn remarks(input: &ThermistorTableInput, result: &ThermistorTableOutput, to: &mut Ledger) {
    for (limit, what) in [(&result.open, "An open wire"), (&result.short, "A shorted sensor")] {
        to.warn("thermistor.table-blind-to-wire", "", limit.is_none(), || {
            format!("{what} gives a code inside the table, too close to it with the errors of the sensor, or none at all: the function cannot tell it from a temperature.")
        });
    }
    let coarse = result.largest_step_k > input.max_error_k;
    to.note("thermistor.table-finer-than-converter", "/max_error_k", coarse, || {
        format!(
            "One code is worth up to {}: the converter, not the table, limits there.",
            kelvin(result.largest_step_k)
        )
    });
    let nearly = u64::from(result.node_count) * 4 > u64::from(result.code_max - result.code_min);
    to.note("thermistor.table-nearly-every-code", "/max_error_k", nearly, || {
        "The table has a node at nearly every code: allow a larger error or store every code.".into()
    });
}
