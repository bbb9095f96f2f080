//! # Choice of the divider's values
//!
//! Two preferred values seldom give the wanted ratio exactly. All lower values of the range are tried with the two upper
//! values next to the exact one; the pairs are ranked by how near their ratio is.
//!
//! ```text
//! Formula    wanted k = Vout/Vmax; exact element Re = Rp (1/k − 1)/n, Rp = Rl ∥ Rin; error k'/k − 1
//! Stress     Vmax (1 − k')/n against min(Vw, √(P_r Re)), undivided by any derating: the divider's own page has that
//! Ranked     by the size of the error; of equal errors the smaller current first
//! Valid      one series for both parts; the tolerance is not part of the ranking
//! Source     IEC 60063:2015 for the values; Ohm's law
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::voltage_care;
use crate::calculation::{Calculation, Meta};
use crate::field::{FieldError, defaulted, number, optional, whole};
use crate::input;
use crate::judge::{Judged, Ledger, Verdict, Words, passes};
use crate::physics::network::{Network, parallel};
use crate::physics::preferred::Series;
use crate::quantity::{Unit, ampere, ohm, one, percent, volt};
use crate::report::kit::{self, Columns};
use crate::report::worked::n;
use crate::report::{Axis, Block, Chart, Figure, Step, Stroke, Table, View};
use crate::work::{Refused, Work};

input! {
    /// Everything the choice takes.
    pub struct ChoiceInput {
        input_max_v: f64 = number(Unit::Volt, 1.0, 5000.0, 831.6), "Vmax", "Highest input", "Continuous.";
        target_output_v: f64 = number(Unit::Volt, 1e-3, 1e3, 1.64), "Vout", "Output wanted there", "Full scale less the head-room.";
        count: u32 = whole(Unit::One, 1, 60, 6), "n", "Upper elements", "All of one value.";
        series: Series = Series::E96.chosen(), "", "Series", "Of both parts.";
        lower_min_ohm: f64 = defaulted(Unit::Ohm, 1.0, 1e7, 4e3), "", "Lower part from", "Smallest value to try.";
        lower_max_ohm: f64 = defaulted(Unit::Ohm, 1.0, 1e7, 20e3), "", "Lower part to", "Largest value to try; sets the source resistance.";
        load_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "Rin", "Input resistance of what follows", "Leave empty if negligible.";
        max_working_v: f64 = defaulted(Unit::Volt, 1.0, 1e5, 200.0), "Vw", "Rated working voltage", "Of each upper element.";
        rated_power_w: f64 = defaulted(Unit::Watt, 1e-3, 1e3, 0.25), "Pr", "Allowed power", "Of each upper element at its hottest, derated.";
        stress_limit_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, 80.0), "d", "Derating limit of the stress", "Of what an element may carry.";
        max_current_a: f64 = defaulted(Unit::Ampere, 1e-9, 1.0, 300e-6), "Imax", "Largest drain", "Of one string.";
        listed: u32 = whole(Unit::One, 1, 100, 20), "", "Pairs listed", "Best first.";
    }
}

/// What the choice answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChoiceOutput {
    /// The wanted ratio.
    pub target_ratio: f64,
    /// Pairs that were tried.
    pub tried: u32,
    /// Pairs, best first.
    pub pairs: Vec<DividerPair>,
    /// The best pair that keeps stress and drain, as its place in the list; absent when none of the listed does.
    pub best: Option<u32>,
}

/// One pair of values.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerPair {
    /// Each upper element, Ω.
    pub upper_ohm: f64,
    /// Lower part, Ω.
    pub lower_ohm: f64,
    /// Its ratio.
    pub ratio: f64,
    /// Ratio against the wanted one, percent.
    pub error_percent: f64,
    /// Output at the highest input, V.
    pub output_v: f64,
    /// Voltage on each upper element, V.
    pub element_v: f64,
    /// Share of what it may carry, percent.
    pub stress_percent: f64,
    /// Drain, A.
    pub current_a: f64,
    /// Power of the string, W.
    pub power_w: f64,
    /// Source resistance, Ω.
    pub source_ohm: f64,
    /// Whether stress and drain keep their limits.
    pub keeps: bool,
}

impl DividerPair {
    /// Both values in words.
    fn name(&self) -> String {
        format!("{} over {}", ohm(self.upper_ohm), ohm(self.lower_ohm))
    }
}

impl ChoiceOutput {
    /// The pair that is shown and judged: the best usable one, or the nearest.
    fn shown(&self) -> Option<&DividerPair> {
        self.pairs.get(self.best.map_or(0, |place| place as usize))
    }
}

/// The calculation.
#[derive(Debug)]
pub struct DividerChoice;

impl Calculation for DividerChoice {
    const META: Meta = Meta {
        slug: "divider/choice",
        title: "Choice of divider values",
        job: "From a full-scale output to preferred values: every pair ranked, with stress, drain and source resistance.",
        short: "preferred values",
        sources: &["IEC 60063:2015 (preferred values)", "Ohm's law"],
    };
    type Input = ChoiceInput;
    type Solved = ChoiceOutput;
    type Output = ChoiceOutput;

    fn contradictions(input: &ChoiceInput) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if input.target_output_v >= input.input_max_v {
            let (wanted, highest) = (volt(input.target_output_v).to_string(), volt(input.input_max_v));
            let message = "The output must be smaller than the input.";
            faults.push(FieldError::contradiction("/target_output_v", message, format!("below {highest}"), wanted));
        }
        if input.series.between(input.lower_min_ohm, input.lower_max_ohm).is_empty() {
            let (least, most) = (ohm(input.lower_min_ohm), ohm(input.lower_max_ohm).to_string());
            let message = format!("No value of {} lies in the range of the lower part.", input.series.label());
            faults.push(FieldError::contradiction("/lower_max_ohm", message, format!("enough above {least}"), most));
        }
        faults
    }

    fn solve(input: &ChoiceInput, _: Work) -> Result<ChoiceOutput, Refused> {
        Ok(solve(input))
    }

    fn requirements(input: &ChoiceInput, solved: &ChoiceOutput, to: &mut Ledger) {
        requirements(input, solved, to);
    }

    fn detail(_: &ChoiceInput, solved: ChoiceOutput, _: Work) -> Result<ChoiceOutput, Refused> {
        Ok(solved)
    }

    fn working(input: &ChoiceInput, result: &ChoiceOutput) -> Vec<Step> {
        working(input, result)
    }

    fn cautions(input: &ChoiceInput, _: &ChoiceOutput) -> Vec<String> {
        voltage_care(input.input_max_v, input.count)
    }

    fn view(input: &ChoiceInput, result: &ChoiceOutput, _: &Ledger) -> View {
        view(input, result)
    }
}

fn pair(input: &ChoiceInput, upper_ohm: f64, lower_ohm: f64) -> DividerPair {
    let n = f64::from(input.count);
    let net = Network { upper_ohm: upper_ohm * n, lower_ohm, load_ohm: input.load_ohm.unwrap_or(f64::INFINITY) };
    let ratio = net.ratio();
    let element_v = input.input_max_v * (1.0 - ratio) / n;
    let limit = input.max_working_v.min((input.rated_power_w * upper_ohm).sqrt());
    let stress_percent = element_v / limit * 100.0;
    let current_a = input.input_max_v / (net.upper_ohm + net.lower_loaded_ohm());
    DividerPair {
        upper_ohm,
        lower_ohm,
        ratio,
        error_percent: (ratio / (input.target_output_v / input.input_max_v) - 1.0) * 100.0,
        output_v: ratio * input.input_max_v,
        element_v,
        stress_percent,
        current_a,
        power_w: current_a * input.input_max_v,
        source_ohm: net.source_ohm(),
        keeps: !passes(stress_percent, input.stress_limit_percent) && !passes(current_a, input.max_current_a),
    }
}

fn solve(input: &ChoiceInput) -> ChoiceOutput {
    let target_ratio = input.target_output_v / input.input_max_v;
    let load = input.load_ohm.unwrap_or(f64::INFINITY);
    let mut pairs: Vec<DividerPair> = Vec::new();
    for lower in input.series.between(input.lower_min_ohm, input.lower_max_ohm) {
        let exact = parallel(lower, load) * (1.0 / target_ratio - 1.0) / f64::from(input.count);
        let (below, above) = input.series.neighbours(exact);
        pairs.extend([below, above].into_iter().flatten().map(|upper| pair(input, upper, lower)));
    }
    pairs.sort_by(|a, b| {
        a.error_percent.abs().total_cmp(&b.error_percent.abs()).then(a.current_a.total_cmp(&b.current_a))
    });
    let tried = u32::try_from(pairs.len()).unwrap_or(u32::MAX);
    let first = pairs.iter().position(|pair| pair.keeps);
    // The best usable pair is always in the list, in its rank.
    let listed = |place: usize| place < input.listed as usize || Some(place) == first;
    let pairs: Vec<_> =
        pairs.into_iter().enumerate().filter(|(place, _)| listed(*place)).map(|(_, pair)| pair).collect();
    let best = pairs.iter().position(|pair| pair.keeps).and_then(|place| u32::try_from(place).ok());
    ChoiceOutput { target_ratio, tried, pairs, best }
}

fn requirements(input: &ChoiceInput, result: &ChoiceOutput, to: &mut Ledger) {
    if let Some(pair) = result.shown() {
        let more =
            "No pair keeps stress and drain: take more elements, a larger lower part or elements of a higher rating.";
        let (stress, rule) = (pair.stress_percent, input.stress_limit_percent);
        let (id, pointer) = ("divider-choice.stress", "/stress_limit_percent");
        to.require(Judged::at_most(id, pointer, Unit::Percent, stress, rule), |_| {
            let (name, stress, rule) = (pair.name(), percent(stress), percent(rule));
            let failure = format!(
                "{name}: each element is at {stress} of what it may carry; the derating limit is {rule}. {more}"
            );
            Words::new("Stress of each element", name, failure)
        });
        let (drain, most) = (pair.current_a, input.max_current_a);
        to.require(Judged::at_most("divider-choice.drain", "/max_current_a", Unit::Ampere, drain, most), |_| {
            let (name, drain, most) = (pair.name(), ampere(drain), ampere(most));
            let failure = format!("{name}: the string drains {drain}; {most} are allowed. {more}");
            Words::new("Drain of the string", name, failure)
        });
    }
    to.require(Judged::never("divider-choice.no-pair", "/target_output_v", result.pairs.is_empty()), |_| {
        let failure =
            "No upper value of the series comes near the wanted ratio: the element would lie outside every decade.";
        Words::new("An upper value comes near the wanted ratio", format!("of {}", input.series.label()), failure)
    });
    to.require(Judged::never("divider.single-element", "/count", input.count == 1), |_| {
        let highest = volt(input.input_max_v);
        let failure = format!("One upper element only: its short puts {highest} on the input of what follows.");
        Words::new("More than one upper element", "a short of one element must leave another", failure)
    });
}

fn working(input: &ChoiceInput, result: &ChoiceOutput) -> Vec<Step> {
    let (count, wanted, highest) = (input.count, one(result.target_ratio), volt(input.input_max_v));
    let mut steps = vec![Step::worked("Wanted ratio", "k", "Vout / Vmax", wanted, "definition", |p| {
        p.of(volt(input.target_output_v)) / p.of(highest)
    })];
    if let Some(pair) = result.shown() {
        let (ru, rl, ratio) = (ohm(pair.upper_ohm), ohm(pair.lower_ohm), one(pair.ratio));
        steps.extend([
            Step::worked("Its ratio", "k'", "Rp / (n Re + Rp), Rp = Rl ∥ Rin", ratio, "Ohm's law", |p| {
                let lower = || input.load_ohm.map_or_else(|| p.of(rl), |load| p.of(rl).parallel(&p.of(ohm(load))));
                lower() / (n(count) * p.of(ru) + lower())
            }),
            Step::worked("Its error", "e", "k'/k − 1", percent(pair.error_percent), "definition", |p| {
                p.of(ratio) / p.of(wanted) - n(1)
            }),
            Step::worked(
                "Voltage on each element",
                "V_i",
                "Vmax (1 − k')/n",
                volt(pair.element_v),
                "Ohm's law",
                |p| p.of(highest) * (n(1) - p.of(ratio)) / n(count),
            ),
        ]);
    }
    steps
}

fn view(input: &ChoiceInput, result: &ChoiceOutput) -> View {
    let lead = match (result.shown(), result.best) {
        (Some(pair), Some(_)) => {
            format!("{} × {}: {} off the wanted ratio", input.count, pair.name(), percent(pair.error_percent))
        }
        _ => "No pair of the series keeps the limits".into(),
    };
    let more = format!(
        "{} pairs of {} were tried. The tolerance of the parts counts on top: see the divider's own page.",
        result.tried,
        input.series.label()
    );
    let mut blocks = Vec::new();
    if let Some(pair) = result.shown() {
        let wanted = format!("{} wanted", volt(input.target_output_v));
        let carried = format!("{} of what it may carry", percent(pair.stress_percent));
        blocks.push(Block::Figures(vec![
            Figure::of("Output", volt(pair.output_v), wanted),
            Figure::of("Element", volt(pair.element_v), carried),
            Figure::of("Drain", ampere(pair.current_a), "at the highest input"),
            Figure::of("Source resistance", ohm(pair.source_ohm), "for filter and bias current"),
        ]));
    }
    blocks.push(Block::Table(table(input, result)));
    blocks.push(Block::Chart(chart(result)));
    View { lead, more, blocks }
}

fn table(input: &ChoiceInput, result: &ChoiceOutput) -> Table {
    let caption = format!("Pairs of {}, nearest ratio first", input.series.label());
    let name = |_, pair: &DividerPair| format!("{} × {}", input.count, pair.name());
    Columns::new("pairs", &caption, "Upper over lower", &result.pairs, name)
        .note("Keeps: stress by the derating limit and drain. The best pair that keeps both is listed in any case.")
        .column("Ratio error", Unit::Percent, |pair| pair.error_percent)
        .column("Output", Unit::Volt, |pair| pair.output_v)
        .column("Stress", Unit::Percent, |pair| pair.stress_percent)
        .column("Drain", Unit::Ampere, |pair| pair.current_a)
        .column("Power", Unit::Watt, |pair| pair.power_w)
        .column("Source", Unit::Ohm, |pair| pair.source_ohm)
        .words("Keeps", |pair| if pair.keeps { Verdict::Holds } else { Verdict::Fails })
        .table()
}

fn chart(result: &ChoiceOutput) -> Chart {
    let mut pairs = result.pairs.clone();
    pairs.sort_by(|a, b| a.source_ohm.total_cmp(&b.source_ohm));
    let finding = result.shown().map_or_else(
        || "No pair to show".into(),
        |pair| format!("The shown pair is {} off at {}", percent(pair.error_percent), ohm(pair.source_ohm)),
    );
    let (x, y) = (Axis::linear("source resistance", Unit::Ohm), Axis::linear("ratio error", Unit::Percent));
    let title = "Ratio error against source resistance";
    let at = |pair: &DividerPair| pair.source_ohm;
    let mut series = kit::Series::new("error-over-source", title, &pairs, x, at, y).every(1);
    series.curve_as("pairs", "Ratio error", Stroke::Main, |pair| Some(pair.error_percent));
    series.chart(finding, "The listed pairs in the order of their source resistance")
}
