//! # Amplifier, isolated converter and what they do to a signal
//!
//! The sensor's millivolts are amplified, filtered, digitised across a barrier and scaled to a word.
//! Each step adds error, noise and delay; calibration takes some of the error back.
//! This calculation judges that chain on its own, referred to its input.
//!
//! ```text
//! Parts      front_end the error model, noise noise and effective bits, timing filter and latency,
//!            word the scaling constants
//! Judged     at the end of the ambient range and in the direction in which the error is larger, aged, as it is calibrated:
//!            at no signal and at full scale
//! Range      use = |signal| over the smallest signal at which some part in some state clips; saturation is a failure where a
//!            protection function needs the range
//! Accuracy   log2(1/peak error): 0.006 % is 14.0 bits, whatever the number of bits; common practice, no source
//! Source     IEEE 1241-2010; JCGM 100:2008; see the parts
//! ```

mod chain;
mod output;
mod requirements;
mod view;
pub mod word;

use crate::calculation::{Calculation, Depth, Meta};
use crate::channel::JudgedBy;
use crate::channel::budget::largest;
use crate::channel::search::Search;
use crate::field::{FieldError, defaulted, group, number, numbers, optional, whole, yes_no};
use crate::input;
use crate::judge::Ledger;
use crate::propagation::{self, Request, defined};
use crate::quantity::{Unit, celsius};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};
use chain::SignalChain;
pub use output::{AnalogueOutput, BusWord, ConverterOutput, OutputWords, Point, RangeUse, Resolution, Timing};

use crate::physics::front_end::Calibration;
use crate::physics::parts::{Amplifier, Converter, Filter, contradictions, finite, share_percent};
use crate::physics::{noise, timing};

input! {
    /// The isolated data link.
    pub struct Link {
        bits_per_sample: u32 = whole(Unit::One, 1, 1024, 24), "w", "Bits per sample", "With address, check sum and gaps.";
        isolator_bit_rate_hz: f64 = defaulted(Unit::Hertz, 1.0, 1e11, 20e6), "fb", "Bit rate of the isolator", "Highest it carries.";
        isolator_delay_s: f64 = defaulted(Unit::Second, 0.0, 1.0, 50e-9), "td", "Delay of the isolator", "Largest.";
        isolator_skew_s: f64 = defaulted(Unit::Second, 0.0, 1.0, 5e-9), "ts", "Skew of the isolator", "Between clock and data.";
    }
}

input! {
    /// The signals to be carried.
    pub struct Signals {
        peak_v: f64 = defaulted(Unit::Volt, 0.0, 1e3, 49e-3), "Vp", "Peak signal", "At the sensor, ripple included.";
        fault_v: Option<f64> = optional(Unit::Volt, 0.0, 1e3), "Vf", "Signal of the fault", "That a protection function must read; empty if none does.";
        ripple_frequency_hz: f64 = defaulted(Unit::Hertz, 1e-2, 1e9, 10e3), "fr", "Ripple frequency", "Of the fundamental.";
    }
}

crate::choice! {
    /// The analogue output.
    pub enum Analogue {
        None = "none", "None";
        CurrentLoop = "current-loop", "4 to 20 mA";
        Voltage = "voltage", "0.5 to 4.5 V";
    }
}

impl Analogue {
    /// Lower and upper end of the span, A or V.
    pub const fn span(self) -> Option<[f64; 2]> {
        match self {
            Self::None => None,
            Self::CurrentLoop => Some([4e-3, 20e-3]),
            Self::Voltage => Some([0.5, 4.5]),
        }
    }
}

input! {
    /// How the reading leaves the chain.
    pub struct Output {
        value_per_v: f64 = defaulted(Unit::One, 1e-9, 1e12, 1.0), "s", "Value per volt", "Physical value of one volt at the sensor: 1/R for a shunt, 1/k for a divider.";
        product_bits: u32 = whole(Unit::One, 8, 62, 32), "w", "Width of the product", "Of the integer multiplication, sign included.";
        word_start_bit: u32 = whole(Unit::One, 0, 511, 0), "", "Bus word starts at bit", "Position in the message.";
        word_bits: u32 = whole(Unit::One, 2, 32, 16), "b", "Bus word width", "In bits.";
        word_signed: bool = yes_no(false), "", "Bus word signed", "Two's complement.";
        word_factor: f64 = defaulted(Unit::One, 1e-12, 1e9, 2e-6), "q", "Bus word step", "Physical value of one step.";
        word_offset: f64 = defaulted(Unit::One, -1e12, 1e12, -0.0655), "o", "Bus word offset", "Physical value of the word zero.";
        word_reserved: u32 = whole(Unit::One, 0, 1024, 2), "", "Reserved words", "At the top, for invalid and not available.";
        analogue: Analogue = Analogue::None.chosen(), "", "Analogue output", "Beside the word.";
        analogue_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.5), "ea", "Error of the analogue output", "Of its span, half-width.";
        analogue_from: f64 = defaulted(Unit::One, -1e12, 1e12, -0.05), "", "Value at the lower end", "Of the analogue span.";
        analogue_to: f64 = defaulted(Unit::One, -1e12, 1e12, 0.05), "", "Value at the upper end", "Of the analogue span.";
    }
}

input! {
    /// Everything it takes.
    pub struct ConverterInput {
        amplifier: Amplifier = group::<Amplifier>(), "", "Amplifier", "Errors referred to its input.";
        filter: Filter = group::<Filter>(), "", "Low-pass", "In front of the converter.";
        converter: Converter = group::<Converter>(), "", "Converter and reference", "Errors referred to its input.";
        averaging: u32 = whole(Unit::One, 1, 65_536, 40), "n", "Averaged samples", "In firmware, after the converter.";
        ambient_min_degc: f64 = number(Unit::Celsius, -80.0, 200.0, -30.0), "Tmin", "Lowest ambient", "Of amplifier and converter.";
        ambient_max_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Tmax", "Highest ambient", "Of amplifier and converter.";
        calibration_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 25.0), "Tcal", "Calibration temperature", "Drift counts from here.";
        calibration: Calibration = group::<Calibration>(), "", "Calibration", "What it leaves.";
        link: Link = group::<Link>(), "", "Isolated link", "Across the barrier.";
        signals: Signals = group::<Signals>(), "", "Signals", "To be carried.";
        output: Output = group::<Output>(), "", "Output", "Word, constant and analogue output.";
        signal_v: Vec<f64> = numbers(Unit::Volt, 1e-9, 1e3, 24, &[175e-6, 1.4e-3, 14e-3, 21e-3, 49e-3]), "V", "Signal points", "At the sensor, parted by spaces.";
    }
}

/// Trials at each signal: they are shown and judge nothing.
const TRIALS: u32 = 20_000;
/// Sources of the front end, about.
const SOURCES: u64 = 20;

/// The calculation.
#[derive(Debug)]
pub struct ConverterChain;

impl Calculation for ConverterChain {
    const META: Meta = Meta {
        slug: "converter",
        title: "Amplifier and isolated converter",
        job: "The chain from the sensor's terminals to the word: error, noise, range, delay, and what calibration leaves.",
        short: "error, noise, delay, words",
        sources: &[
            "JCGM 100:2008 and JCGM 101:2008: measurement model and its four assessments",
            "IEEE 1241-2010: quantisation noise, SINAD, effective bits",
            "Hogenauer 1981: decimating sinc filter",
            "6.6 σ peak to peak, 70 % of the bit rate, log2(1/peak error): common practice, no source",
        ],
    };
    type Input = ConverterInput;
    type Solved = Solved;
    type Output = ConverterOutput;

    fn contradictions(input: &ConverterInput) -> Vec<FieldError> {
        let mut faults = contradictions(&input.amplifier, &input.filter, &input.converter, "");
        if input.ambient_max_degc < input.ambient_min_degc {
            faults.push(FieldError::contradiction(
                "/ambient_max_degc",
                "The highest ambient lies below the lowest.",
                format!("at or above {}", celsius(input.ambient_min_degc)),
                celsius(input.ambient_max_degc),
            ));
        }
        if input.output.analogue_to <= input.output.analogue_from {
            faults.push(FieldError::contradiction(
                "/output/analogue_to",
                "The upper end of the analogue span must lie above its lower end.",
                format!("above {}", input.output.analogue_from),
                input.output.analogue_to,
            ));
        }
        faults
    }

    fn cost(input: &ConverterInput, depth: Depth, work: Work) -> Cost {
        // No requirement is judged by trials.
        if depth == Depth::Requirements {
            return Cost::SMALL;
        }
        let trials = u64::from(work.trials(TRIALS));
        Cost::SMALL.and(Cost { units: trials * SOURCES, bytes: trials * 8 }.times(input.signal_v.len() as u64))
    }

    fn solve(input: &ConverterInput, work: Work) -> Result<Solved, Refused> {
        Ok(Solved {
            clips: SignalChain { front_end: input.front_end(), input }.clips(work)?,
            resolution: resolution(input),
            timing: timing(input),
            output: words(input),
        })
    }

    fn requirements(input: &ConverterInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &ConverterInput, solved: Solved, work: Work) -> Result<ConverterOutput, Refused> {
        detail(input, solved, work)
    }

    fn working(input: &ConverterInput, result: &ConverterOutput) -> Vec<Step> {
        view::working(input, result)
    }

    fn cautions(_: &ConverterInput, _: &ConverterOutput) -> Vec<String> {
        vec!["The sensor's side of the barrier sits at pack potential. Treat amplifier, converter and their supply as live.".into()]
    }

    fn view(input: &ConverterInput, result: &ConverterOutput, _: &Ledger) -> View {
        view::view(input, result)
    }
}

/// The numbers that verdicts rest on.
#[derive(Debug)]
pub struct Solved {
    /// The smallest signal at the sensor at which some part clips, V, and what clips there.
    clips: (f64, &'static str),
    resolution: Resolution,
    timing: Timing,
    output: OutputWords,
}

/// The error at every signal, with its trials.
fn detail(input: &ConverterInput, solved: Solved, work: Work) -> Result<ConverterOutput, Refused> {
    let chain = SignalChain { front_end: input.front_end(), input };
    let distance_k = (input.ambient_max_degc - input.calibration_degc)
        .abs()
        .max((input.ambient_min_degc - input.calibration_degc).abs());
    let search = Search::new(&chain, true, true, 1);
    let full_scale = input.full_scale_v();
    let request = Request { trials: Some(TRIALS), ..Request::default() };
    let mut points = Vec::with_capacity(input.signal_v.len());
    for &signal_v in &input.signal_v {
        let value = search.value(signal_v);
        let Some(found) = search.worst(&value, JudgedBy::WorstCase, work)?.first().copied() else { continue };
        let model = search.model(&value, found.state);
        let assessment = propagation::assess(&model, &value.sources, None, &request, work);
        let Some(assessment) = defined(assessment)? else { continue };
        let worst = largest(assessment.worst_case.low, assessment.worst_case.high);
        points.push(Point {
            signal_v,
            worst_case_v: worst,
            worst_case_percent_of_reading: finite(worst / signal_v * 100.0),
            worst_case_percent_of_full_scale: worst / full_scale * 100.0,
            largest: assessment.contributions.first().map(|term| term.label.clone()).unwrap_or_default(),
            assessment,
        });
    }
    let Solved { clips: (clips_at_v, first), resolution, timing, output } = solved;
    let range = RangeUse {
        clips_at_v,
        clips_first: first.into(),
        peak_percent: share_percent(input.signals.peak_v, clips_at_v),
        fault_percent: input.signals.fault_v.map(|fault| share_percent(fault, clips_at_v)),
    };
    let crossover_v = crossover(&search, full_scale, work)?;
    Ok(ConverterOutput { distance_k, points, crossover_v, resolution, range, timing, output })
}

/// The signal at which what grows with it is as large as what does not: from the errors at no signal and at full scale.
fn crossover(search: &Search<'_, SignalChain<'_>>, full_scale: f64, work: Work) -> Result<Option<f64>, Refused> {
    let at = |x: f64| {
        search.worst(&search.value(x), JudgedBy::WorstCase, work).map(|found| found.first().map(|one| one.about))
    };
    let (Some(none), Some(full)) = (at(0.0)?, at(full_scale)?) else { return Ok(None) };
    Ok(Some(none / ((full - none) / full_scale)).filter(|at| *at > 0.0 && at.is_finite()))
}

fn resolution(input: &ConverterInput) -> Resolution {
    let (adc, gain) = (&input.converter, input.amplifier.gain);
    let with = noise::ReadingNoise::new(&input.amplifier, &input.filter, adc, input.averaging, input.ambient_max_degc);
    let quantisation = adc.lsb_v() / 12f64.sqrt() / gain;
    let (single, averaged) = (with.single_v, with.averaged_v);
    let span = adc.span_v() / gain;
    let value = input.output.value_per_v;
    // ENOB = (SINAD − 1.76)/6.02 of a full-scale sine. A stated SINAD holds the quantisation already.
    let step = if adc.sinad_db.is_some() { 0.0 } else { quantisation };
    let bits = |u: f64| noise::effective_bits(20.0 * libm::log10(span / 2.0 / 2f64.sqrt() / u.hypot(step)));
    Resolution {
        lsb_v: adc.lsb_v(),
        lsb_at_sensor_v: adc.lsb_v() / gain,
        lsb_value: adc.lsb_v() / gain * value,
        quantisation_v: quantisation,
        ideal_snr_db: noise::ideal_snr_db(f64::from(adc.bits)),
        noise_bandwidth_hz: with.bandwidth_hz,
        amplifier_white_v: with.white_v,
        amplifier_flicker_v: with.flicker_v,
        sampled_v: with.sampled_v,
        converter_v: with.converter_v,
        noise_v: single,
        noise_value: single * value,
        averaged_v: averaged,
        averaged_value: averaged * value,
        effective_bits: (single > 0.0).then(|| bits(single)),
        averaged_effective_bits: (averaged > 0.0).then(|| bits(averaged)),
        noise_free_bits: (single > 0.0)
            .then(|| libm::log2(span / (noise::PEAK_TO_PEAK * single)).clamp(0.0, f64::from(adc.bits))),
        accuracy_bits: Some(adc.linearity()).filter(|error| *error > 0.0).map(|error| -libm::log2(error)),
    }
}

fn timing(input: &ConverterInput) -> Timing {
    let adc = &input.converter;
    let ripple = input.signals.ripple_frequency_hz;
    let (order, over) = (f64::from(adc.filter_order), f64::from(adc.oversampling));
    let modulator = adc.data_rate_hz * over;
    let corner = input.filter.corner();
    let (slow, fast) = input.filter.corner_factors();
    let low_pass = corner.map_or(1.0, |corner| timing::low_pass_gain(ripple, corner));
    let sinc = timing::average_gain(ripple, modulator, over, adc.filter_order);
    let average = timing::average_gain(ripple, adc.data_rate_hz, f64::from(input.averaging), 1);
    let tau = corner.map_or(0.0, |corner| 1.0 / (2.0 * std::f64::consts::PI * corner * slow));
    // Without oversampling there is no decimating filter to settle, only the sample itself.
    let sinc_settling_s = if adc.oversampling > 1 { order } else { 1.0 } / adc.data_rate_hz;
    // Averages of blocks: a step just after a block began waits for its end, and for one whole block of its own.
    let averaging_s = f64::from(2 * input.averaging - 1) / adc.data_rate_hz;
    let needed_hz = adc.data_rate_hz * f64::from(input.link.bits_per_sample);
    let transport_s = f64::from(input.link.bits_per_sample) / input.link.isolator_bit_rate_hz;
    let amplifier_tau = 1.0 / (2.0 * std::f64::consts::PI * input.amplifier.bandwidth_hz);
    let low_pass_settling_s = (tau + amplifier_tau) * 1000f64.ln();
    Timing {
        corner_hz: corner,
        corner_range_hz: corner.map(|corner| [corner * slow, corner * fast]),
        low_pass_db: corner.and_then(|_| timing::decibel(low_pass)),
        sinc_db: timing::decibel(sinc),
        average_db: timing::decibel(average),
        ripple_gain: low_pass * sinc * average,
        alias_hz: timing::alias_hz(ripple, adc.data_rate_hz),
        image_low_pass_db: corner
            .and_then(|corner| timing::decibel(timing::low_pass_gain((modulator - ripple).abs(), corner))),
        low_pass_settling_s,
        sinc_settling_s,
        sinc_group_delay_s: order * (over - 1.0) / (2.0 * modulator),
        averaging_s,
        transport_s,
        latency_s: low_pass_settling_s
            + sinc_settling_s
            + averaging_s
            + transport_s
            + input.link.isolator_delay_s
            + input.link.isolator_skew_s,
        needed_hz,
        link_use_percent: needed_hz / input.link.isolator_bit_rate_hz * 100.0,
    }
}

fn words(input: &ConverterInput) -> OutputWords {
    let (adc, out) = (&input.converter, &input.output);
    let half = 2f64.powi(i32::try_from(adc.bits).unwrap_or(32) - 1);
    let codes = if adc.bipolar { [-half, half - 1.0] } else { [0.0, 2.0 * half - 1.0] };
    let scale = adc.lsb_v() / input.amplifier.gain * out.value_per_v;
    let steps = 2f64.powi(i32::try_from(out.word_bits).unwrap_or(32));
    let reserved = f64::from(out.word_reserved).min(steps - 2.0);
    let (lowest, highest) =
        if out.word_signed { (-steps / 2.0, steps / 2.0 - 1.0 - reserved) } else { (0.0, steps - 1.0 - reserved) };
    let (min, max) = (lowest * out.word_factor + out.word_offset, highest * out.word_factor + out.word_offset);
    let span = out.analogue.span();
    OutputWords {
        scale,
        offset_code: 0.0,
        fraction: word::fraction(scale),
        fixed_point: word::fixed_point(scale, codes[1].max(-codes[0]), out.product_bits),
        bus: BusWord {
            start_bit: out.word_start_bit,
            width: out.word_bits,
            signed: out.word_signed,
            factor: out.word_factor,
            offset: out.word_offset,
            min,
            max,
            rounding: out.word_factor / 2.0,
            covers_range: min <= codes[0] * scale && max >= codes[1] * scale,
        },
        codes,
        analogue: span.map(|[from, to]| AnalogueOutput {
            from,
            to,
            value_per_unit: (out.analogue_to - out.analogue_from) / (to - from),
            error: out.analogue_error_percent / 100.0 * (out.analogue_to - out.analogue_from),
        }),
    }
}
