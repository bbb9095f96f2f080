//! The ripple for a reader: figures, one period, the comparators and the beat, and the working.

use super::{RippleInput, RippleOutput, RippleSampling, RippleShape};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{Quantity, Unit, ampere, henry, hertz, ohm, one, percent, second, watt};
use crate::report::kit::{Columns, Series};
use crate::report::worked::{Term, n};
use crate::report::{Axis, Block, Chart, Figure, Step, Stroke, Table, View};

pub(super) fn view(input: &RippleInput, result: &RippleOutput, judged: &Ledger) -> View {
    let mut blocks = vec![Block::Figures(figures(input, result)), Block::Chart(period(input, result))];
    if !result.trips.is_empty() {
        blocks.push(Block::Table(comparators(input, result, judged)));
    }
    if let Some(sampling) = &result.sampling {
        blocks.push(Block::Chart(response(input, sampling)));
        blocks.push(Block::Table(harmonics(input, sampling)));
    }
    View { lead: lead(input, result), more: more(result, judged), blocks }
}

fn lead(input: &RippleInput, result: &RippleOutput) -> String {
    let (ripple, sense) = (ampere(input.peak_to_peak_a), &result.sense);
    let spike = ampere(sense.spike_rise_a.max(sense.spike_fall_a));
    let tripping = result.trips.iter().filter(|trip| trip.trips);
    let tripping: Vec<String> =
        tripping.map(|trip| format!("{} trips at {}", trip.name, ampere(trip.mean_a))).collect();
    let trips = if !tripping.is_empty() {
        format!(": {} without a fault", tripping.join(", "))
    } else if result.trips.is_empty() {
        String::new()
    } else {
        "; no comparator trips by it".into()
    };
    format!("{ripple} of ripple make a spike of {spike}{trips}")
}

fn more(result: &RippleOutput, judged: &Ledger) -> String {
    let filter = second(result.sense.matched_filter_s);
    match &result.sampling {
        _ if result.converter.clips => {
            format!("The converter clips: its mean is off by {}.", ampere(result.converter.shift_a))
        }
        Some(sampling) => format!(
            "The converter does not clip; the sampling makes a beat of {} at {}.",
            ampere(sampling.beat_a),
            hertz(sampling.beat_hz)
        ),
        None if judged.verdict() == Verdict::Fails => {
            format!("The converter does not clip. A filter of {filter} takes the spike away exactly.")
        }
        None => "The converter does not clip: its mean is right.".into(),
    }
}

fn figures(input: &RippleInput, result: &RippleOutput) -> Vec<Figure> {
    let (sense, converter) = (&result.sense, &result.converter);
    let shape = if input.shape == RippleShape::Triangle { "while the current rises" } else { "amplitude" };
    let steeper = sense.spike_fall_a > sense.spike_rise_a;
    let range = format!("reads {} to {}", ampere(converter.range_low_a), ampere(converter.range_high_a));
    let all = [
        Some(Figure::of("Ripple spike", ampere(sense.spike_rise_a), shape)),
        steeper.then(|| Figure::of("Spike while falling", ampere(sense.spike_fall_a), "the steeper edge")),
        result.trips.first().map(|trip| {
            let note = format!("{}, threshold {}", trip.name, ampere(trip.threshold_a));
            Figure::of("Comparator sees", ampere(trip.peak_a), note)
        }),
        Some(Figure::of("Matched filter", second(sense.matched_filter_s), "L/R: takes the spike away")),
        sense.corner_hz.map(|f| Figure::of("Corner of the shunt", hertz(f), "above it the inductance rules")),
        Some(Figure::of("Root-mean-square current", ampere(sense.rms_a), "heats the shunt")),
        Some(Figure::of("Loss in the shunt", watt(sense.loss_w), "direct current resistance")),
        Some(Figure::of("Shift of the mean", ampere(converter.shift_a), range)),
        result.sampling.as_ref().map(|sampling| {
            let note = format!("amplitude, at {}", hertz(sampling.beat_hz));
            Figure::of("Beat", ampere(sampling.beat_a), note)
        }),
        result.sampling.as_ref().map(|sampling| {
            let note = format!("{} to {}, over every phase", ampere(sampling.low_a), ampere(sampling.high_a));
            Figure::of("Mean of samples off by", ampere(sampling.beat_bound_a), note)
        }),
    ];
    all.into_iter().flatten().collect()
}

fn period(input: &RippleInput, result: &RippleOutput) -> Chart {
    let first = result.trips.first();
    let title = "One period of the current and of what is seen of it";
    let (x, y) = (Axis::linear("time", Unit::Second), Axis::linear("current", Unit::Ampere));
    let mut chart = Series::new("period", title, &result.course, x, |point| point.time_s, y).every(6);
    chart.table_words("One period", "The shunt's signal is given as the current that it seems to be.");
    let seen = first.map_or_else(|| "bare shunt".into(), |trip| format!("seen by {}", trip.name));
    chart.curve("true current", Stroke::Main, |point| Some(point.current_a));
    chart.curve_as(&seen, "Comparator sees", Stroke::Second, |point| Some(point.comparator_a));
    chart.curve("converter reads", Stroke::Thin, |point| Some(point.converter_a));
    for trip in &result.trips {
        chart.level(&format!("{} threshold", trip.name), trip.threshold_a);
    }
    let finding = match first {
        Some(trip) if trip.trips => {
            format!(
                "The comparator sees {} at a mean of {}, {} above its threshold",
                ampere(trip.peak_a),
                ampere(trip.mean_a),
                ampere(-trip.margin_a)
            )
        }
        Some(trip) => {
            let [peak, mean, left] = [trip.peak_a, trip.mean_a, trip.margin_a].map(ampere);
            format!("The comparator sees {peak} at a mean of {mean}, {left} are left to its threshold")
        }
        None => {
            let (seen, flow) = (ampere(result.converter.highest_a), ampere(result.sense.highest_a));
            format!("The bare shunt shows up to {seen} while {flow} flow")
        }
    };
    let conditions = format!(
        "{} mean, {} peak to peak, {}, {} and {}",
        ampere(input.mean_a),
        ampere(input.peak_to_peak_a),
        hertz(input.frequency_hz),
        ohm(input.shunt.resistance_ohm),
        henry(input.shunt.inductance_henry)
    );
    chart.chart(finding, conditions)
}

fn comparators(input: &RippleInput, result: &RippleOutput, judged: &Ledger) -> Table {
    let own = judged.rows().iter().filter(|one| one.id == "ripple.trip");
    let rows: Vec<_> = result.trips.iter().zip(&input.trips).zip(own.map(|one| judged.verdict_of(one))).collect();
    Columns::new("comparators", "Comparators", "Comparator", &rows, |_, row| row.0.0.name.clone())
        .note(
            "The filter that is needed counts in the reaction to a short, unless that one has a comparator of its own.",
        )
        .column("Threshold", Unit::Ampere, |((trip, _), _)| trip.threshold_a)
        .column("Error", Unit::Ampere, |((trip, _), _)| trip.tolerance_a)
        .column("Filter", Unit::Second, |((_, given), _)| given.filter_s)
        .column("Mean", Unit::Ampere, |((trip, _), _)| trip.mean_a)
        .column("Sees", Unit::Ampere, |((trip, _), _)| trip.peak_a)
        .column("Left", Unit::Ampere, |((trip, _), _)| trip.margin_a)
        .column("Filter needed", Unit::Second, |((trip, _), _)| trip.needed_filter_s)
        .words("Verdict", |(_, verdict)| *verdict)
        .table()
}

fn response(input: &RippleInput, sampling: &RippleSampling) -> Chart {
    let (f, rate) = (hertz(input.frequency_hz), hertz(input.samples.rate_hz.unwrap_or(0.0)));
    let title = "Gain of the averaging near the ripple frequency";
    let (x, y) = (Axis::linear("frequency", Unit::Hertz), Axis::linear("gain", Unit::One));
    let mut chart = Series::new("averaging", title, &sampling.response, x, |point| point[0], y).every(10);
    chart.table_words("Gain of the averaging", "");
    chart.curve("gain", Stroke::Main, |point| Some(point[1]));
    chart.mark(f.value, sampling.gain, format!("ripple {f}"));
    let (n, word) = (input.samples.averages, second(1.0 / sampling.output_hz));
    chart.chart(
        format!("At {f} the averaging leaves {} of the ripple", percent(sampling.gain * 100.0)),
        format!("mean of {n} samples at {rate}, one word every {word}"),
    )
}

fn harmonics(input: &RippleInput, sampling: &RippleSampling) -> Table {
    let (filter, low, high) = (second(input.converter.filter_s), ampere(sampling.low_a), ampere(sampling.high_a));
    let (caption, rows) = ("Where the harmonics appear after sampling", &sampling.harmonics);
    Columns::new("harmonics", caption, "Harmonic", rows, |_, beat| beat.order.to_string())
        .note(format!(
            "Amplitudes are half of peak to peak; behind the shunt and a filter of {filter}. A mean of samples is off by {low} to {high} over every phase."
        ))
        .column("Frequency", Unit::Hertz, |beat| beat.frequency_hz)
        .column("In the current", Unit::Ampere, |beat| beat.current_a)
        .column("Sensed", Unit::Ampere, |beat| beat.sensed_a)
        .column("Gain", Unit::One, |beat| beat.gain)
        .column("Beat at", Unit::Hertz, |beat| beat.beat_hz)
        .column("Beat", Unit::Ampere, |beat| beat.beat_a)
        .table()
}

/// The steps that lead to the headline numbers.
pub(super) fn working(input: &RippleInput, result: &RippleOutput) -> Vec<Step> {
    const SYSTEM: &str = "first-order linear system";
    const KERNEL: &str = "Dirichlet kernel";
    let (sense, converter) = (&result.sense, &result.converter);
    let (mean, pp, f) = (ampere(input.mean_a), ampere(input.peak_to_peak_a), hertz(input.frequency_hz));
    let (r, l) = (ohm(input.shunt.resistance_ohm), henry(input.shunt.inductance_henry));
    let (rms, spike) = (ampere(sense.rms_a), ampere(sense.spike_rise_a));
    let (matched, rise) = (second(sense.matched_filter_s), Quantity::new(sense.rise_a_per_s, Unit::AmperePerSecond));
    let triangle = input.shape == RippleShape::Triangle;
    let (share, formula) = if triangle { (12, "√(I² + Ipp²/12)") } else { (8, "√(I² + Ipp²/8)") };
    let duty = percent(input.duty_percent);
    let mut steps = vec![
        Step::worked("Root-mean-square current", "I_rms", formula, rms, "mean square of the wave", |p| {
            (p.of(mean).squared() + p.of(pp).squared() / n(share)).sqrt()
        }),
        Step::worked("Loss in the shunt", "P", "R I_rms²", watt(sense.loss_w), "Joule's law", |p| {
            p.of(r) * p.of(rms).squared()
        }),
        if triangle {
            Step::worked("Steepest rise", "di/dt", "Ipp f/D", rise, "derivative of the wave", |p| {
                p.of(pp) * p.of(f) / p.of(duty)
            })
        } else {
            Step::worked("Steepest rise", "di/dt", "π Ipp f", rise, "derivative of the wave", |p| {
                Term::pi() * p.of(pp) * p.of(f)
            })
        },
        Step::worked("Ripple spike while rising", "I_L", "(L/R) di/dt", spike, "Faraday's law", |p| {
            p.of(l) / p.of(r) * p.of(rise)
        }),
        Step::worked("Matched filter", "τ_m", "L/R", matched, SYSTEM, |p| p.of(l) / p.of(r)),
    ];
    steps.extend(sense.corner_hz.map(|corner| {
        Step::worked("Corner of the shunt", "f_L", "R/(2π L)", hertz(corner), SYSTEM, |p| {
            p.of(r) / (n(2) * Term::pi() * p.of(l))
        })
    }));
    for (trip, given) in result.trips.iter().zip(&input.trips) {
        steps.push(peak(input, &trip.name, given.threshold_a, given.filter_s, ampere(trip.peak_a)));
    }
    let (after, shift) = (ampere(converter.mean_a), ampere(converter.shift_a));
    let (label, formula) = ("Shift of the mean by clipping", "I_c − I, I_c = f ∫ clip(y) dt the mean of what is read");
    steps
        .push(Step::worked(label, "ΔI", formula, shift, "exact integral of the pieces", |p| p.of(after) - p.of(mean)));
    let (Some(sampling), Some(rate)) = (&result.sampling, input.samples.rate_hz) else { return steps };
    let (label, count) = ("Gain of the averaging at the ripple", input.samples.averages);
    let gain = one(sampling.gain);
    steps.push(if sampling.gain == 1.0 {
        Step::worked(label, "H", "1: one value, or a multiple of fs", gain, KERNEL, |_| n(1))
    } else {
        Step::worked(label, "H", "|sin(π n f/fs)|/(n |sin(π f/fs)|)", gain, KERNEL, |p| {
            let wave = |times: Term| (Term::pi() * times * p.of(f) / p.of(hertz(rate))).sin().abs();
            wave(n(count)) / (n(count) * wave(n(1)))
        })
    });
    let (output, beat) = (hertz(sampling.output_hz), hertz(sampling.beat_hz));
    let (formula, nearest) = ("|f − k fs/n|, k the whole number nearest to f n/fs", (f.value / output.value).round());
    steps.push(Step::worked("Beat of the fundamental", "f_b", formula, beat, "sampling theorem", |p| {
        (p.of(f) - n(nearest) * p.of(output)).abs()
    }));
    steps.extend(sampling.harmonics.first().map(|first| {
        let (label, formula) = ("Amplitude of the beat", "I_1 H, I_1 behind shunt and filter");
        Step::worked(label, "I_b", formula, ampere(sampling.beat_a), KERNEL, |p| {
            p.of(ampere(first.sensed_a)) * p.of(one(first.gain))
        })
    }));
    steps
}

/// The extreme of the signal on the side of a threshold: of the shortest or longest rise that is allowed, whichever is worse.
fn peak(input: &RippleInput, name: &str, threshold_a: f64, filter_s: f64, peak: Quantity) -> Step {
    const SYSTEM: &str = "first-order linear system";
    let label = format!("Peak that the comparator sees: {name}");
    let mean = ampere(super::solve::mean_for(input, threshold_a));
    let worst = input.ripple_at(super::solve::worst_rise(input, threshold_a, filter_s));
    let seen = worst.behind(filter_s);
    let Some((piece, time)) = seen.extreme(threshold_a < 0.0) else {
        let formula = "I ± (Ipp/2) √(1 + (2π f L/R)²)/√(1 + (2π f τ)²)";
        return Step::worked(&label, "I_pk", formula, peak, SYSTEM, |p| {
            let rate = || n(2) * Term::pi() * p.of(hertz(input.frequency_hz));
            let gain = |seconds: f64| (n(1) + (rate() * p.of(second(seconds))).squared()).sqrt();
            let size = p.of(ampere(input.peak_to_peak_a)) / n(2) * gain(worst.shunt_s) / gain(filter_s);
            if threshold_a < 0.0 { p.of(mean) - size } else { p.of(mean) + size }
        });
    };
    let slope = Quantity::new(piece.slope, Unit::AmperePerSecond);
    let [from, start] = [piece.input, piece.start].map(ampere);
    let time = second(time);
    if piece.tau == 0.0 {
        let formula = "I + u_0 + s t on the straight piece u = u_0 + s t, without a filter";
        return Step::worked(&label, "I_pk", formula, peak, SYSTEM, |p| {
            p.of(mean) + p.of(from) + p.of(slope) * p.of(time)
        });
    }
    let formula = "I + u_0 + s (t − τ) + (y_0 − u_0 + s τ) e^(−t/τ) at the turning point of the piece u = u_0 + s t that begins at y_0";
    Step::worked(&label, "I_pk", formula, peak, SYSTEM, |p| {
        let (tau, time, from, slope) = (p.of(second(piece.tau)), p.of(time), p.of(from), p.of(slope));
        let decay = (-(time.clone() / tau.clone())).exp();
        let away = p.of(start) - from.clone() + slope.clone() * tau.clone();
        p.of(mean) + from + slope * (time - tau) + away * decay
    })
}
