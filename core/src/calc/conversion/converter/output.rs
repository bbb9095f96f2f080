//! What it answers.

use serde::Serialize;
use utoipa::ToSchema;

use super::word;
use crate::propagation::Assessment;

/// What it answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ConverterOutput {
    /// Largest distance of the ambient range from the calibration temperature, K.
    pub distance_k: f64,
    /// The error at every signal point, end of life, after the chosen calibration.
    pub points: Vec<Point>,
    /// Signal at which fixed errors and errors that grow with the signal are equal, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crossover_v: Option<f64>,
    /// Resolution and noise.
    pub resolution: Resolution,
    /// Use of the range.
    pub range: RangeUse,
    /// Filter, decimation, latency, bit rate.
    pub timing: Timing,
    /// Scaling constants and words.
    pub output: OutputWords,
}

/// The error at one signal.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Point {
    /// The signal, V at the sensor.
    pub signal_v: f64,
    /// Worst case, V.
    pub worst_case_v: f64,
    /// The same in percent of the reading; absent where nothing is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_case_percent_of_reading: Option<f64>,
    /// The same in percent of full scale.
    pub worst_case_percent_of_full_scale: f64,
    /// The most frequent question: which term is largest here.
    pub largest: String,
    /// All four methods and every contribution.
    pub assessment: Assessment,
}

/// Resolution and noise.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Resolution {
    /// One step, V at the converter's input.
    pub lsb_v: f64,
    /// One step, V at the sensor.
    pub lsb_at_sensor_v: f64,
    /// One step in the physical unit.
    pub lsb_value: f64,
    /// Quantisation noise, V at the sensor.
    pub quantisation_v: f64,
    /// Signal-to-noise ratio of an ideal quantiser, dB.
    pub ideal_snr_db: f64,
    /// Noise bandwidth of amplifier and filter, Hz.
    pub noise_bandwidth_hz: f64,
    /// White amplifier noise, V at the sensor.
    pub amplifier_white_v: f64,
    /// 1/f noise of the amplifier, V at the sensor.
    pub amplifier_flicker_v: f64,
    /// kT/C of the filter capacitor at the hottest ambient, V at the sensor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sampled_v: Option<f64>,
    /// Noise of the converter, V at the sensor.
    pub converter_v: f64,
    /// All noise of one result, V at the sensor.
    pub noise_v: f64,
    /// The same in the physical unit.
    pub noise_value: f64,
    /// Noise of the averaged result, V at the sensor; the 1/f part does not fall.
    pub averaged_v: f64,
    /// The same in the physical unit.
    pub averaged_value: f64,
    /// Effective bits of one result, by its noise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effective_bits: Option<f64>,
    /// Effective bits of the averaged result.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub averaged_effective_bits: Option<f64>,
    /// Noise-free bits of one result (6.6 σ).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_free_bits: Option<f64>,
    /// Bits of accuracy by the non-linearity: log2(1/error).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub accuracy_bits: Option<f64>,
}

/// Use of the range.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RangeUse {
    /// Smallest signal at which some part in some state clips, V at the sensor: tolerances, offsets, drift and ageing counted.
    pub clips_at_v: f64,
    /// What clips first.
    pub clips_first: String,
    /// Share used at the peak signal, percent.
    pub peak_percent: f64,
    /// Share used at the fault signal, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault_percent: Option<f64>,
}

/// Filter, decimation, latency and bit rate.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Timing {
    /// Corner of the low-pass, Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corner_hz: Option<f64>,
    /// Lowest and highest corner within the tolerances, Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corner_range_hz: Option<[f64; 2]>,
    /// Low-pass at the ripple frequency, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_pass_db: Option<f64>,
    /// Decimating filter at the ripple frequency, dB; absent at a zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sinc_db: Option<f64>,
    /// Average in firmware at the ripple frequency, dB; absent at a zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub average_db: Option<f64>,
    /// Gain of all three at the ripple frequency.
    pub ripple_gain: f64,
    /// Where the ripple appears at the data rate, Hz.
    pub alias_hz: f64,
    /// Modulator clock less the ripple: what the decimating filter passes unweakened, low-pass at it, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub image_low_pass_db: Option<f64>,
    /// Settling of low-pass and amplifier to 0.1 %, s: the sum of both.
    pub low_pass_settling_s: f64,
    /// Settling of the decimating filter after a step: K D/f_m, s.
    pub sinc_settling_s: f64,
    /// Its group delay, s.
    pub sinc_group_delay_s: f64,
    /// Longest wait for an average that holds the whole step, s: (2 n − 1)/f_d for averages of blocks.
    pub averaging_s: f64,
    /// Time to move one sample across the barrier, s.
    pub transport_s: f64,
    /// Largest latency from the sensor to the averaged word, s.
    pub latency_s: f64,
    /// Bit rate needed, bit/s.
    pub needed_hz: f64,
    /// Share of the isolator's bit rate, percent.
    pub link_use_percent: f64,
}

/// Scaling constants and words.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OutputWords {
    /// Physical value of one code.
    pub scale: f64,
    /// Code of zero.
    pub offset_code: f64,
    /// Smallest and largest code.
    pub codes: [f64; 2],
    /// The scale as a fraction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fraction: Option<word::Fraction>,
    /// The scale as a fixed-point constant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fixed_point: Option<word::FixedPoint>,
    /// The bus word.
    pub bus: BusWord,
    /// The analogue output.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub analogue: Option<AnalogueOutput>,
}

/// The word on the bus: value = word · factor + offset.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BusWord {
    /// First bit in the message.
    pub start_bit: u32,
    /// Width in bits.
    pub width: u32,
    /// Two's complement.
    pub signed: bool,
    /// Step.
    pub factor: f64,
    /// Value of the word zero.
    pub offset: f64,
    /// Smallest value it carries.
    pub min: f64,
    /// Largest value it carries.
    pub max: f64,
    /// Rounding, half a step.
    pub rounding: f64,
    /// Whether it carries the whole range of the converter.
    pub covers_range: bool,
}

/// The analogue output: lower and upper end of its span and its own error.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct AnalogueOutput {
    /// Signal at the lower end, A or V.
    pub from: f64,
    /// Signal at the upper end, A or V.
    pub to: f64,
    /// Physical value per ampere or volt.
    pub value_per_unit: f64,
    /// Its own error in the physical unit.
    pub error: f64,
}
