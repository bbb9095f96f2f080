//! What is required of a converter, and what an engineer must know about it.

use super::{ConverterInput, Solved};
use crate::judge::{Judged, Ledger, Words, passes};
use crate::quantity::{Quantity, Unit, hertz, one, percent, volt};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &ConverterInput, solved: &Solved, to: &mut Ledger) {
    let (clips_at, first) = solved.clips;
    let (signals, end) = (&input.signals, volt(clips_at));
    let note = format_args!("clips first: {first}, of every part in every state");
    let peak = signals.peak_v;
    // So near to the end that the non-linearity may take what is left, of which nothing is said.
    let bent = |signal: f64| input.converter.range_missing(signal, Some(clips_at));
    let one = Judged::at_most("converter.peak", "/signals/peak_v", Unit::Volt, peak, clips_at);
    to.require(one.without(bent(peak)), |_| {
        let failure = format!(
            "The peak signal of {} clips: {first} of some part ends at {end}. A clipped ripple becomes a DC error.",
            volt(peak)
        );
        Words::new("Peak signal inside the range", note.to_string(), failure)
    });
    if let Some(fault) = signals.fault_v {
        let one = Judged::at_most("converter.fault", "/signals/fault_v", Unit::Volt, fault, clips_at);
        to.require(one.without(bent(fault)), |_| {
            let failure = format!(
                "A protection function needs {}, and {first} of some part ends at {end}: the fault cannot be told from a smaller one.",
                volt(fault)
            );
            Words::new("Signal of the fault inside the range", note.to_string(), failure)
        });
    }
    let (needed, rate) = (solved.timing.needed_hz, input.link.isolator_bit_rate_hz);
    let at = "/link/isolator_bit_rate_hz";
    to.require(Judged::at_most("converter.bit-rate", at, Unit::BitPerSecond, needed, rate), |_| {
        let [needed, rate] = [needed, rate].map(|rate| Quantity::new(rate, Unit::BitPerSecond));
        let failure = format!("The samples need {needed}, the isolator carries {rate}.");
        Words::new("Bit rate across the barrier", "with the given bits per sample", failure)
    });
    let used = solved.timing.link_use_percent;
    if passes(used, 70.0) {
        to.remark(|| {
            let message = format!(
                "The samples use {} of the isolator's bit rate; more than 70 % leaves no room for repeats (common practice, no source).",
                percent(used)
            );
            Finding::new(Severity::Warn, "converter.link-full", message).at(at).against(used, 70.0)
        });
    }
    signal(input, solved, to);
    word(input, solved, to);
}

fn signal(input: &ConverterInput, solved: &Solved, to: &mut Ledger) {
    let (timing, resolution) = (&solved.timing, &solved.resolution);
    to.note("converter.no-noise", "/converter/noise_v", resolution.noise_v == 0.0, || {
        "No noise is given, so effective and noise-free bits are left out. Quantisation alone is in the budget.".into()
    });
    let used = super::share_percent(input.signals.peak_v, solved.clips.0);
    to.note("converter.range-unused", "/amplifier/gain", used < 30.0, || {
        format!("The peak signal uses {} of the range.", percent(used))
    });
    let bits = resolution.accuracy_bits.filter(|bits| *bits < f64::from(input.converter.bits) - 1.0);
    to.note("converter.bits-are-not-accuracy", "/converter/bits", bits.is_some(), || {
        let (resolved, bits) = (input.converter.bits, one(bits.unwrap_or_default()));
        format!(
            "{resolved} bits of resolution over the span, {bits} bits of accuracy by the non-linearity of full scale."
        )
    });
    let slow = timing.ripple_gain > 1e-3 && timing.alias_hz < input.converter.data_rate_hz / 10.0;
    to.warn("converter.ripple-aliases", "/signals/ripple_frequency_hz", slow, || {
        format!(
            "Ripple at {} appears at {} after sampling, weakened to {}: a slow beat or a false direct current.",
            hertz(input.signals.ripple_frequency_hz),
            hertz(timing.alias_hz),
            percent(timing.ripple_gain * 100.0)
        )
    });
}

fn word(input: &ConverterInput, solved: &Solved, to: &mut Ledger) {
    let output = &solved.output;
    to.warn("converter.word-too-short", "/output/word_factor", !output.bus.covers_range, || {
        let [low, high] = output.codes.map(|code| one(code * output.scale));
        let (min, max) = (one(output.bus.min), one(output.bus.max));
        format!("The bus word carries {min} to {max}; the converter reads {low} to {high}. Saturate, never wrap.")
    });
    to.warn("converter.product-too-narrow", "/output/product_bits", output.fixed_point.is_none(), || {
        let (bits, codes) = (input.output.product_bits, one(output.codes[1]));
        format!("No fixed-point constant fits a product of {bits} bits with {codes} codes.")
    });
}
