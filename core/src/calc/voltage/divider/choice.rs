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

use super::network::Network;
use crate::calculation::Meta;
use crate::field::{FieldError, defaulted, number, optional, whole};
use crate::input;
use crate::legacy::Whole;
use crate::physics::preferred::Series;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Check, Column, Curve, Figure, Finding, Report, Row, Severity, Step, Stroke, Table,
    Verdict, View,
};

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
        stress_limit_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, 80.0), "d", "House rule for stress", "Of what an element may carry.";
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
    #[serde(skip_serializing_if = "Option::is_none")]
    pub best: Option<u32>,
    /// Requirements of the best pair.
    pub checks: Vec<Check>,
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

/// The calculation.
#[derive(Debug)]
pub struct DividerChoice;

impl Whole for DividerChoice {
    const META: Meta = Meta {
        slug: "divider/choice",
        title: "Choice of divider values",
        job: "From a full-scale output to preferred values: every pair ranked, with stress, drain and source resistance.",
        short: "preferred values",
        sources: &["IEC 60063:2015 (preferred values)", "Ohm's law"],
    };
    type Input = ChoiceInput;
    type Output = ChoiceOutput;

    fn calculate(input: &ChoiceInput) -> Result<Report<ChoiceOutput>, Vec<FieldError>> {
        let mut faults = Vec::new();
        if input.target_output_v >= input.input_max_v {
            faults.push(FieldError::contradiction(
                "/target_output_v",
                "The output must be smaller than the input.",
                format!("below {}", say(input.input_max_v, Unit::Volt)),
                say(input.target_output_v, Unit::Volt),
            ));
        }
        if input.series.between(input.lower_min_ohm, input.lower_max_ohm).is_empty() {
            faults.push(FieldError::contradiction(
                "/lower_max_ohm",
                format!("No value of {} lies in the range of the lower part.", input.series.label()),
                format!("enough above {}", say(input.lower_min_ohm, Unit::Ohm)),
                say(input.lower_max_ohm, Unit::Ohm),
            ));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve(input);
        let findings = findings(input, &result);
        Ok(Report { working: working(input, &result), view: view(input, &result), result, findings })
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
        keeps: stress_percent <= input.stress_limit_percent && current_a <= input.max_current_a,
    }
}

fn solve(input: &ChoiceInput) -> ChoiceOutput {
    let target_ratio = input.target_output_v / input.input_max_v;
    let load = input.load_ohm.unwrap_or(f64::INFINITY);
    let mut pairs: Vec<DividerPair> = Vec::new();
    for lower in input.series.between(input.lower_min_ohm, input.lower_max_ohm) {
        let exact = super::network::parallel(lower, load) * (1.0 / target_ratio - 1.0) / f64::from(input.count);
        let (below, above) = input.series.neighbours(exact);
        pairs.extend([below, above].into_iter().flatten().map(|upper| pair(input, upper, lower)));
    }
    pairs.sort_by(|a, b| {
        a.error_percent.abs().total_cmp(&b.error_percent.abs()).then(a.current_a.total_cmp(&b.current_a))
    });
    let tried = u32::try_from(pairs.len()).unwrap_or(u32::MAX);
    let first = pairs.iter().position(|pair| pair.keeps);
    // The best usable pair is always in the list, in its rank.
    let kept: Vec<DividerPair> = pairs
        .iter()
        .copied()
        .enumerate()
        .filter(|(place, _)| *place < input.listed as usize || Some(*place) == first)
        .map(|(_, pair)| pair)
        .collect();
    let best = kept.iter().position(|pair| pair.keeps);
    let judged = best.or(if kept.is_empty() { None } else { Some(0) }).map(|place| kept[place]);
    ChoiceOutput {
        target_ratio,
        tried,
        best: best.and_then(|place| u32::try_from(place).ok()),
        checks: judged.map_or_else(Vec::new, |pair| checks(input, &pair)),
        pairs: kept,
    }
}

fn checks(input: &ChoiceInput, pair: &DividerPair) -> Vec<Check> {
    let note = format!("{} over {}", say(pair.upper_ohm, Unit::Ohm), say(pair.lower_ohm, Unit::Ohm));
    vec![
        Check::at_most(
            "divider-choice.stress",
            "Stress of each element",
            note.clone(),
            Quantity::new(pair.stress_percent, Unit::Percent),
            Some(input.stress_limit_percent),
        )
        .at("/stress_limit_percent"),
        Check::at_most(
            "divider-choice.drain",
            "Drain of the string",
            note,
            Quantity::new(pair.current_a, Unit::Ampere),
            Some(input.max_current_a),
        )
        .at("/max_current_a"),
    ]
}

fn findings(input: &ChoiceInput, result: &ChoiceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if result.pairs.is_empty() {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider-choice.no-pair",
                "No upper value of the series comes near the wanted ratio: the element would lie outside every decade.",
            )
            .at("/target_output_v"),
        );
    } else if result.best.is_none() {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider-choice.none-keeps",
                "No pair keeps stress and drain: take more elements, a larger lower part or elements of a higher rating.",
            )
            .at("/count"),
        );
    }
    if input.count == 1 {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider.single-element",
                format!(
                    "One upper element only: its short puts {} on the input of what follows.",
                    say(input.input_max_v, Unit::Volt)
                ),
            )
            .at("/count"),
        );
    }
    findings
}

/// The pair that is shown: the best usable one, or the nearest.
fn shown(result: &ChoiceOutput) -> Option<&DividerPair> {
    result.pairs.get(result.best.map_or(0, |place| place as usize))
}

fn working(input: &ChoiceInput, result: &ChoiceOutput) -> Vec<Step> {
    let q = Quantity::new;
    let mut steps = vec![Step::new(
        "Wanted ratio",
        "k",
        "Vout / Vmax",
        format!("{} / {}", say(input.target_output_v, Unit::Volt), say(input.input_max_v, Unit::Volt)),
        q(result.target_ratio, Unit::One),
        "definition",
    )];
    if let Some(pair) = shown(result) {
        let (ru, rl) = (say(pair.upper_ohm, Unit::Ohm), say(pair.lower_ohm, Unit::Ohm));
        let n = input.count;
        steps.extend([
            Step::new(
                "Its ratio",
                "k'",
                "Rp / (n Re + Rp), Rp = Rl ∥ Rin",
                format!("{rl} / ({n} · {ru} + {rl})"),
                q(pair.ratio, Unit::One),
                "Ohm's law",
            ),
            Step::new(
                "Its error",
                "e",
                "k'/k − 1",
                format!("{:.9} / {:.9} − 1", pair.ratio, result.target_ratio),
                q(pair.error_percent, Unit::Percent),
                "definition",
            ),
            Step::new(
                "Voltage on each element",
                "V_i",
                "Vmax (1 − k')/n",
                format!("{} · (1 − {}) / {n}", say(input.input_max_v, Unit::Volt), say(pair.ratio, Unit::One)),
                q(pair.element_v, Unit::Volt),
                "Ohm's law",
            ),
        ]);
    }
    steps
}

fn view(input: &ChoiceInput, result: &ChoiceOutput) -> View {
    let care = super::findings::voltage_care(input.input_max_v, input.count);
    let mut view = View { checks: result.checks.clone(), care, ..View::default() };
    view.lead = match (shown(result), result.best) {
        (Some(pair), Some(_)) => format!(
            "{} × {} over {}: {} off the wanted ratio",
            input.count,
            say(pair.upper_ohm, Unit::Ohm),
            say(pair.lower_ohm, Unit::Ohm),
            say(pair.error_percent, Unit::Percent)
        ),
        _ => "No pair of the series keeps the limits".into(),
    };
    view.more = format!(
        "{} pairs of {} were tried. The tolerance of the parts counts on top: see the divider's own page.",
        result.tried,
        input.series.label()
    );
    if let Some(pair) = shown(result) {
        view.blocks.push(Block::Figures(vec![
            Figure::new(
                "Output",
                pair.output_v,
                Unit::Volt,
                format!("{} wanted", say(input.target_output_v, Unit::Volt)),
            ),
            Figure::new(
                "Element",
                pair.element_v,
                Unit::Volt,
                format!("{} of what it may carry", say(pair.stress_percent, Unit::Percent)),
            ),
            Figure::new("Drain", pair.current_a, Unit::Ampere, "at the highest input"),
            Figure::new("Source resistance", pair.source_ohm, Unit::Ohm, "for filter and bias current"),
        ]));
    }
    view.blocks.push(Block::Table(table(input, result)));
    view.blocks.push(Block::Chart(chart(result)));
    view
}

fn table(input: &ChoiceInput, result: &ChoiceOutput) -> Table {
    Table {
        id: "pairs".into(),
        caption: format!("Pairs of {}, nearest ratio first", input.series.label()),
        note: "Keeps: stress by the house rule and drain. The best pair that keeps both is listed in any case.".into(),
        head: "Upper over lower".into(),
        columns: vec![
            Column::of("Ratio error", Unit::Percent),
            Column::of("Output", Unit::Volt),
            Column::of("Stress", Unit::Percent),
            Column::of("Drain", Unit::Ampere),
            Column::of("Power", Unit::Watt),
            Column::of("Source", Unit::Ohm),
            Column::words("Keeps"),
        ],
        rows: result
            .pairs
            .iter()
            .map(|pair| Row {
                head: format!(
                    "{} × {} over {}",
                    input.count,
                    say(pair.upper_ohm, Unit::Ohm),
                    say(pair.lower_ohm, Unit::Ohm)
                ),
                note: String::new(),
                cells: vec![
                    Cell::Number(pair.error_percent),
                    Cell::Number(pair.output_v),
                    Cell::Number(pair.stress_percent),
                    Cell::Number(pair.current_a),
                    Cell::Number(pair.power_w),
                    Cell::Number(pair.source_ohm),
                    Cell::Verdict(if pair.keeps { Verdict::Holds } else { Verdict::Fails }),
                ],
            })
            .collect(),
    }
}

fn chart(result: &ChoiceOutput) -> Chart {
    let mut points: Vec<[f64; 2]> = result.pairs.iter().map(|pair| [pair.source_ohm, pair.error_percent]).collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    Chart {
        id: "error-over-source".into(),
        finding: shown(result).map_or_else(
            || "No pair to show".into(),
            |pair| {
                format!(
                    "The shown pair is {} off at {}",
                    say(pair.error_percent, Unit::Percent),
                    say(pair.source_ohm, Unit::Ohm)
                )
            },
        ),
        conditions: "The listed pairs in the order of their source resistance".into(),
        title: "Ratio error against source resistance".into(),
        x: Axis::linear("source resistance", Unit::Ohm),
        y: Axis::linear("ratio error", Unit::Percent),
        curves: vec![Curve { label: "pairs".into(), stroke: Stroke::Main, points: points.clone() }],
        marks: Vec::new(),
        table: Table {
            id: "error-over-source-values".into(),
            caption: "Ratio error of the listed pairs".into(),
            note: String::new(),
            head: "Source resistance".into(),
            columns: vec![Column::of("Ratio error", Unit::Percent)],
            rows: points
                .iter()
                .map(|point| Row {
                    head: say(point[0], Unit::Ohm),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
    }
}
