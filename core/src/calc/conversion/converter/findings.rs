//! The requirements of the converter and what the engineer must know.

use super::{ConverterInput, ConverterOutput, RangeUse, timing};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Check, Finding, Severity};

pub(super) fn checks(input: &ConverterInput, range: &RangeUse) -> Vec<Check> {
    let note = format!("clips first: {}", range.clips_first);
    let volt = |value| Quantity::new(value, Unit::Volt);
    let mut checks = vec![
        Check::at_most(
            "converter.peak",
            "Peak signal inside the range",
            note.clone(),
            volt(input.signals.peak_v),
            Some(range.clips_at_v),
        )
        .at("/signals/peak_v"),
    ];
    if let Some(fault) = input.signals.fault_v {
        checks.push(
            Check::at_most(
                "converter.fault",
                "Signal of the fault inside the range",
                note,
                volt(fault),
                Some(range.clips_at_v),
            )
            .at("/signals/fault_v"),
        );
    }
    let needed = timing(input).needed_hz;
    checks.push(
        Check::at_most(
            "converter.bit-rate",
            "Bit rate across the barrier",
            "with the given bits per sample",
            Quantity::new(needed, Unit::BitPerSecond),
            Some(input.link.isolator_bit_rate_hz),
        )
        .at("/link/isolator_bit_rate_hz"),
    );
    checks
}

pub(super) fn findings(input: &ConverterInput, result: &ConverterOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let range = &result.range;
    if result.resolution.noise_v == 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "converter.no-noise",
                "No noise is given, so effective and noise-free bits are left out. Quantisation alone is in the budget.",
            )
            .at("/converter/noise_v"),
        );
    }
    if range.peak_percent > 100.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "converter.peak-clips",
                format!(
                    "The peak signal of {} clips: {} ends at {}. A clipped ripple becomes a DC error.",
                    say(input.signals.peak_v, Unit::Volt),
                    range.clips_first,
                    say(range.clips_at_v, Unit::Volt)
                ),
            )
            .at("/signals/peak_v")
            .against(input.signals.peak_v, range.clips_at_v),
        );
    }
    if let Some(fault) = input.signals.fault_v.filter(|fault| *fault > range.clips_at_v) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "converter.fault-clips",
                format!(
                    "A protection function needs {}, and {} ends at {}: the fault cannot be told from a smaller one.",
                    say(fault, Unit::Volt),
                    range.clips_first,
                    say(range.clips_at_v, Unit::Volt)
                ),
            )
            .at("/signals/fault_v")
            .against(fault, range.clips_at_v),
        );
    }
    if range.peak_percent < 30.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "converter.range-unused",
                format!("The peak signal uses {} of the range.", say(range.peak_percent, Unit::Percent)),
            )
            .at("/amplifier/gain"),
        );
    }
    if result.timing.link_use_percent > 70.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "converter.link-full",
                format!(
                    "The samples use {} of the isolator's bit rate; more than 70 % leaves no room for repeats (common practice, no source).",
                    say(result.timing.link_use_percent, Unit::Percent)
                ),
            )
            .at("/link/isolator_bit_rate_hz")
            .against(result.timing.link_use_percent, 70.0),
        );
    }
    if let (Some(bits), true) =
        (result.resolution.accuracy_bits, result.resolution.accuracy_bits < Some(f64::from(input.converter.bits) - 1.0))
    {
        findings.push(
            Finding::new(
                Severity::Note,
                "converter.bits-are-not-accuracy",
                format!(
                    "{} bits of resolution over the span, {} bits of accuracy by the non-linearity of full scale.",
                    input.converter.bits,
                    say(bits, Unit::One)
                ),
            )
            .at("/converter/bits"),
        );
    }
    if !result.output.bus.covers_range {
        findings.push(
            Finding::new(
                Severity::Warn,
                "converter.word-too-short",
                format!(
                    "The bus word carries {} to {}; the converter reads {} to {}. Saturate, never wrap.",
                    say(result.output.bus.min, Unit::One),
                    say(result.output.bus.max, Unit::One),
                    say(result.output.codes[0] * result.output.scale, Unit::One),
                    say(result.output.codes[1] * result.output.scale, Unit::One)
                ),
            )
            .at("/output/word_factor"),
        );
    }
    if result.output.fixed_point.is_none() {
        findings.push(
            Finding::new(
                Severity::Warn,
                "converter.product-too-narrow",
                format!(
                    "No fixed-point constant fits a product of {} bits with {} codes.",
                    input.output.product_bits,
                    say(result.output.codes[1], Unit::One)
                ),
            )
            .at("/output/product_bits"),
        );
    }
    let alias = result.timing.alias_hz;
    if result.timing.ripple_gain > 1e-3 && alias < input.converter.data_rate_hz / 10.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "converter.ripple-aliases",
                format!(
                    "Ripple at {} appears at {} after sampling, weakened to {}: a slow beat or a false direct current.",
                    say(input.signals.ripple_frequency_hz, Unit::Hertz),
                    say(alias, Unit::Hertz),
                    say(result.timing.ripple_gain * 100.0, Unit::Percent)
                ),
            )
            .at("/signals/ripple_frequency_hz"),
        );
    }
    findings
}
