//! What is answered of a profile.

use serde::Serialize;
use utoipa::ToSchema;

use super::account::{Account, Gaps, cone};
use super::fault::{Fault, RowTold};
use super::header::Role;
use super::options::ProfileInput;
use super::plot::CurvePoint;
use super::recognise::Recognised;
use super::rows::Rows;
use super::spread::{Beyond, Spread};
use super::sums::Total;
use crate::propagation::{normal_quantile, uniform};

/// Correlation from which on two quantities are said to go together.
const CLEAR: f64 = 0.5;
/// Parts that are drawn.
const TRIALS: u32 = 16_384;
/// Streams of the draws of parts; the one before is that of the noise along the profile.
const FIRST_STREAM: u32 = 1;
const SECONDS_OF_HOUR: f64 = 3_600.0;

/// What a profile is.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct ProfileOutput {
    /// How the text was read.
    pub recognised: Vec<Recognised>,
    /// What became of each line.
    pub lines: Lines,
    /// From the first to the last row, as integrated, s.
    pub duration_s: f64,
    /// Charge that flowed out, Ah.
    pub discharge_ah: f64,
    /// Charge that flowed in, Ah.
    pub charge_ah: f64,
    /// Out less in, Ah.
    pub net_ah: f64,
    /// The same with each row held to the next, Ah.
    pub net_held_ah: f64,
    /// The same with straight lines between the rows, Ah.
    pub net_trapezoid_ah: f64,
    /// Energy that flowed out, J; absent without voltage.
    pub energy_out_j: Option<f64>,
    /// Energy that flowed in, J.
    pub energy_in_j: Option<f64>,
    /// Out less in, J.
    pub energy_net_j: Option<f64>,
    /// Effective value, A; absent where no time passes.
    pub rms_a: Option<f64>,
    /// Largest current.
    pub highest: Extreme,
    /// Smallest current.
    pub lowest: Extreme,
    /// Largest voltage.
    pub highest_voltage: Option<VoltageExtreme>,
    /// Smallest voltage.
    pub lowest_voltage: Option<VoltageExtreme>,
    /// Whether the voltage rises with the discharge current, which it should not; absent where it does neither.
    pub voltage_rises: Option<bool>,
    /// Limits and how long the current was beyond them.
    pub beyond: Vec<Beyond>,
    /// How long the current was where.
    pub spread: Spread,
    /// Gaps.
    pub gaps: Gaps,
    /// The shunt element; absent without one.
    pub element: Option<ElementPeak>,
    /// What the chain would have read; absent where it would have read the current itself.
    pub reading: Option<Reading>,
    /// Curves over time.
    pub curves: Vec<CurvePoint>,
}

/// What became of each line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Lines {
    /// All.
    pub lines: u64,
    /// Rows that count.
    pub rows: u64,
    /// Lines of names and units.
    pub header: u64,
    /// Comments and empty lines.
    pub beside: u64,
    /// Rows that could not be read and were left out.
    pub left_out: u64,
    /// The first twenty of them.
    pub first_left_out: Vec<RowTold>,
    /// Rows at the time of the row before.
    pub same_time: u64,
    /// Segments that began with a step back in time.
    pub new_segments: u64,
    /// Whether the last line had no end: it may have been cut off.
    pub last_line_open: bool,
}

/// An extreme of the current.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Extreme {
    /// A.
    pub current_a: f64,
    /// The first line that has it.
    pub line: u64,
}

/// An extreme of the voltage.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct VoltageExtreme {
    /// V.
    pub voltage_v: f64,
    /// The first line that has it.
    pub line: u64,
}

/// The element's hottest moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct ElementPeak {
    /// Highest temperature, °C; absent where it ran away.
    pub highest_degc: Option<f64>,
    /// The line of it, or from which on it ran away.
    pub line: u64,
    /// Whether its heat grew faster than it left.
    pub ran_away: bool,
}

/// What a chain would have read, and how wrong.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Reading {
    /// Net discharge that one part would have counted: known errors and one draw of the noise, Ah.
    pub read_ah: f64,
    /// Error of the count that is known: R(T), rounding, dead band, sampling, Ah.
    pub known_ah: f64,
    /// What one draw of the noise adds, Ah.
    pub drawn_ah: f64,
    /// Standard deviation of the noise in the count, Ah.
    pub noise_ah: f64,
    /// Highest error: every limit that way, and three standard deviations of the noise, Ah.
    pub highest_ah: f64,
    /// Lowest error, Ah.
    pub lowest_ah: f64,
    /// What no more than 5 % of all parts err beyond, limits taken as rectangular, Ah.
    pub within_95_ah: f64,
    /// Parts that were drawn for it.
    pub trials: u32,
    /// Each source alone, a limit as with a positive value, Ah.
    pub sources: Vec<Source>,
    /// Largest current that some part had to read, limits included, A.
    pub highest_reached_a: f64,
    /// Smallest current that some part had to read, A.
    pub lowest_reached_a: f64,
    /// How long some part was at the end of its range, s.
    pub clipped_s: f64,
    /// The first line at which it was.
    pub first_clipped_line: Option<u64>,
}

/// One source of the error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Source {
    /// What it is.
    pub source: &'static str,
    /// Its error with a positive value, Ah.
    pub error_ah: f64,
    /// Whether its sign is known.
    pub known: bool,
}

impl ProfileOutput {
    pub(super) fn of(rows: Rows, input: &ProfileInput, last_line_open: bool) -> Option<Self> {
        let Rows { account, kept, layout, line, .. } = rows;
        let hours = |seconds: Total| seconds.value() / SECONDS_OF_HOUR;
        let sums = account.sums;
        let duration = sums.seconds.value();
        let (low, high) = (account.current.low?, account.current.high?);
        let energy = |value: f64| layout.has(Role::Voltage).then_some(value);
        let volts = |extreme: Option<(f64, u64)>| extreme.map(|(voltage_v, line)| VoltageExtreme { voltage_v, line });
        let element = account.element.as_ref().and_then(|element| match (element.ran_away, element.peak) {
            (Some(line), _) => Some(ElementPeak { highest_degc: None, line, ran_away: true }),
            (None, peak) => peak.map(|(degc, line)| ElementPeak { highest_degc: Some(degc), line, ran_away: false }),
        });
        Some(Self {
            lines: Lines {
                lines: line - 1,
                rows: kept.rows,
                header: kept.header,
                beside: kept.beside,
                left_out: kept.bad,
                first_left_out: kept.told.iter().map(Fault::row).collect(),
                same_time: kept.same_time,
                new_segments: kept.segments,
                last_line_open,
            },
            duration_s: duration,
            discharge_ah: hours(sums.out),
            charge_ah: hours(sums.back),
            net_ah: (sums.out.value() - sums.back.value()) / SECONDS_OF_HOUR + 0.0,
            net_held_ah: hours(sums.held) + 0.0,
            net_trapezoid_ah: hours(sums.trapezoid) + 0.0,
            energy_out_j: energy(sums.energy_out.value()),
            energy_in_j: energy(sums.energy_back.value()),
            energy_net_j: energy(sums.energy_out.value() - sums.energy_back.value() + 0.0),
            rms_a: (duration > 0.0).then(|| (sums.square.value() / duration).sqrt()),
            highest: Extreme { current_a: high.0, line: high.1 },
            lowest: Extreme { current_a: low.0, line: low.1 },
            highest_voltage: volts(account.voltage.high),
            lowest_voltage: volts(account.voltage.low),
            voltage_rises: sums.correlation().filter(|value| value.abs() > CLEAR).map(|value| value > 0.0),
            beyond: account.beyond.clone(),
            spread: account.histogram.told(),
            gaps: account.gaps.clone(),
            element,
            reading: reading(&account, input),
            curves: account.buckets.told(),
            recognised: layout.told,
        })
    }
}

/// What the chain read; nothing where the element ran away, since nothing is known of the reading then.
fn reading(account: &Account, input: &ProfileInput) -> Option<Reading> {
    if account.element.as_ref().is_some_and(|element| element.ran_away.is_some()) {
        return None;
    }
    let mut chain = account.chain.clone()?;
    chain.close();
    let (sums, given) = (&account.sums, &input.chain);
    let (out, back) = (sums.out.value(), sums.back.value());
    let net = out - back;
    let errors = chain.read_so_far().map(|read| read - net);
    let [known, highest, lowest] = cone(errors, chain.variance);
    let hours = |value: f64| value / SECONDS_OF_HOUR + 0.0;
    let source = |source: &'static str, error: f64, known: bool| Source { source, error_ah: hours(error), known };
    let sources = vec![
        source("offset", given.offset_a.unwrap_or_default() * sums.seconds.value(), false),
        source("gain", given.gain_percent.unwrap_or_default() / 100.0 * net, false),
        source("unequal gains", given.asymmetry_percent / 200.0 * (out + back), false),
        source("non-linearity", given.bend_a * sums.flowing.value(), false),
        source("thermal EMF", given.emf_a * chain.by_warmth, false),
        source("resistance over temperature", chain.by_resistance, true),
        source("rounding, dead band, range and sampling", known - chain.by_resistance, true),
    ];
    let noise = hours(chain.variance.sqrt());
    Some(Reading {
        within_95_ah: within_95(hours(known), noise, &sources, given.seed),
        trials: TRIALS,
        highest_reached_a: chain.reach[1] + 0.0,
        lowest_reached_a: chain.reach[0] + 0.0,
        read_ah: hours(net + known + chain.drawn),
        known_ah: hours(known),
        drawn_ah: hours(chain.drawn),
        noise_ah: noise,
        highest_ah: hours(highest),
        lowest_ah: hours(lowest),
        sources,
        clipped_s: chain.clipped_s,
        first_clipped_line: chain.first_clipped,
    })
}

/// The error that 95 % of all parts stay within, by drawing parts: each limit rectangular, the noise normal, each apart.
///
/// Formula `P(|known + Σ E_i d_i + s z| ≤ E) = 0.95`, `d_i` uniform in −1 … 1, `z` standard normal. First order: what rounding
/// and dead band make of a limit is not in it. The order statistic of 16,384 trials has a standard error of 0.17 % in
/// probability. Source: JCGM 101, 7.7, for the interval of sorted trials.
fn within_95(known: f64, noise: f64, sources: &[Source], seed: u32) -> f64 {
    let limits: Vec<f64> = sources.iter().filter(|source| !source.known).map(|source| source.error_ah).collect();
    let draw = |trial: u64| {
        let drawn = |stream: u32| uniform(u64::from(seed), trial, FIRST_STREAM + stream);
        let limits = (0_u32..).zip(&limits).map(|(stream, limit)| limit * (2.0 * drawn(stream) - 1.0));
        let noise = if noise > 0.0 { noise * normal_quantile(drawn(u32::MAX - FIRST_STREAM)) } else { 0.0 };
        (known + limits.sum::<f64>() + noise).abs()
    };
    let mut errors: Vec<f64> = (0..u64::from(TRIALS)).map(draw).collect();
    errors.sort_unstable_by(f64::total_cmp);
    errors[TRIALS as usize * 19 / 20]
}
