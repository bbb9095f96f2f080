//! A free model for a reader.

use super::input::FreeInput;
use super::output::FreeOutput;
use crate::channel::budget::{self, Heading, Output};
use crate::propagation::{Assessment, Beyond, Contribution, Kind};
use crate::quantity::{Quantity, Unit, one, percent};
use crate::report::kit::{Columns, Values};
use crate::report::{Block, Figure, Table, View};

pub(super) fn view(input: &FreeInput, output: &FreeOutput) -> View {
    let done = &output.assessment;
    let heading = Heading { id: "budget".into(), caption: "Budget".into(), note: "In the unit of the output.".into() };
    let mut blocks = vec![
        Block::Figures(figures(output)),
        Block::Budget(budget::budget(heading, Unit::One, &in_one_line(done), Output::Value, input.allowed)),
        Block::Table(inputs(done)),
    ];
    let coverage = coverage(done);
    if !coverage.is_empty() {
        blocks.push(Block::Table(coverage.table()));
    }
    if !output.others.is_empty() {
        blocks.push(Block::Table(outputs(output)));
    }
    if !output.output_correlations.is_empty() {
        blocks.push(Block::Table(correlations(output)));
    }
    View {
        lead: format!(
            "{} ± {}, worst case {} to {}",
            one(done.value),
            one(done.gum.expanded),
            one(done.worst_case.low),
            one(done.worst_case.high)
        ),
        more: format!("{} inputs, k = {}.", input.inputs.len(), one(done.gum.k)),
        blocks,
    }
}

fn figures(output: &FreeOutput) -> Vec<Figure> {
    let done = &output.assessment;
    let mut figures = vec![
        Figure::of("Output", one(done.value), "at the estimates"),
        Figure::of("Standard uncertainty", one(done.gum.standard), "combined, first order"),
        Figure::of("Expanded", one(done.gum.expanded), format!("k = {}", one(done.gum.k))),
    ];
    if let Some(degrees) = done.gum.degrees_of_freedom {
        let cut = done.gum.degrees_of_freedom_used.map(|cut| format!(", cut to {} for k", one(cut)));
        let note = format!("Welch-Satterthwaite{}", cut.unwrap_or_default());
        figures.push(Figure::of("Effective degrees of freedom", one(degrees), note));
    }
    if done.known != 0.0 {
        figures.push(Figure::of("Off the estimates", one(done.known), "known: the middles of unequal limits"));
    }
    if let Some(second) = &output.second_order {
        figures.push(Figure::of("Standard uncertainty", one(second.standard), "to second order"));
    }
    if let Some(standard) = done.monte_carlo.as_ref().and_then(|run| run.standard) {
        figures.push(Figure::of("Standard uncertainty", one(standard), "Monte Carlo"));
    }
    figures
}

/// The budget with its normal inputs as the one line that they are in the sums.
fn in_one_line(done: &Assessment) -> Assessment {
    let mut done = done.clone();
    done.contributions.retain(|term| !term.joined);
    let line = Contribution {
        id: "joined".into(),
        label: "Normal inputs, joined".into(),
        stage: "Inputs".into(),
        kind: Kind::Initial,
        unit: String::new(),
        estimate: 0.0,
        limit: 0.0,
        standard: 0.0,
        sensitivity: 1.0,
        contribution: 0.0,
        joined: true,
        known: 0.0,
        share_percent: None,
    };
    if done.known != 0.0 {
        let label = "Middle of unequal limits, off the estimates".into();
        let (id, estimate, contribution) = ("known".into(), done.known, done.known.abs());
        done.contributions.push(Contribution { id, label, estimate, contribution, joined: false, ..line.clone() });
    }
    if let Some(joined) = done.joined {
        let (limit, standard) = (joined.contribution, joined.standard);
        done.contributions.push(Contribution { limit, standard, contribution: limit, ..line });
    }
    done
}

fn inputs(done: &Assessment) -> Table {
    let kind = |term: &Contribution| match term.kind {
        Kind::Initial => "initial",
        Kind::Temperature => "temperature",
        Kind::Life => "life",
        Kind::Noise => "noise",
    };
    let caption = "Input quantities of the output, largest first";
    let note =
        "Normal inputs add their part of the joined line, which is passed in up to 0.27 % of the units at k = 3.";
    Columns::new("inputs", caption, "Input", &done.contributions, |_, term| term.label.clone())
        .note(if done.joined.is_some() { note } else { "" })
        .column("Estimate", Unit::One, |term| term.estimate)
        .column("Standard uncertainty", Unit::One, |term| term.standard)
        .column("Sensitivity", Unit::One, |term| term.sensitivity)
        .column("Adds to the sum of limits", Unit::One, |term| term.contribution)
        .column("Share of the variance", Unit::Percent, |term| term.share_percent)
        .words("Counts as", |term| if term.joined { "normal, joined" } else { "limit" })
        .words("Kind", kind)
        .table()
}

/// What the sums cover, as far as the trials can tell.
fn coverage(done: &Assessment) -> Values {
    let mut values =
        Values::new("coverage", "Units beyond", "Share of the Monte Carlo trials, with its standard error.");
    let mut row = |head: &str, beyond: &Beyond| {
        let (limit, error) = (one(beyond.limit), percent(100.0 * beyond.error));
        let said = match beyond.below {
            Some(below) => format!("below {}", percent(100.0 * below)),
            None => format!("{} ± {error}", percent(100.0 * beyond.share)),
        };
        values.words(head, said, format!("±{limit}"));
    };
    if let Some(run) = &done.monte_carlo {
        if let Some(sums) = &run.of_sums {
            row("Beyond the root-sum-square", &sums.root_sum_square);
            row("Beyond the sum of limits", &sums.sum_of_limits);
        }
        if let Some(beyond) = &run.beyond {
            row("Beyond what is allowed", beyond);
        }
    }
    values
}

fn outputs(output: &FreeOutput) -> Table {
    let further = output.others.iter().map(|one| (one.output, &one.assessment));
    let all: Vec<(u32, &Assessment)> = std::iter::once((1, &output.assessment)).chain(further).collect();
    Columns::new("outputs", "Outputs", "Output", &all, |_, (number, _)| format!("y{number}"))
        .column("Value", Unit::One, |(_, done)| done.value)
        .column("Standard uncertainty", Unit::One, |(_, done)| done.gum.standard)
        .column("Expanded", Unit::One, |(_, done)| done.gum.expanded)
        .column("Lowest", Unit::One, |(_, done)| done.worst_case.low)
        .column("Highest", Unit::One, |(_, done)| done.worst_case.high)
        .table()
}

fn correlations(output: &FreeOutput) -> Table {
    let mut values =
        Values::new("output-correlations", "Correlation of the outputs", "First order (JCGM 102:2011 clause 6.2).");
    for pair in &output.output_correlations {
        values.row(format!("y{}, y{}", pair.first, pair.second), Quantity::new(pair.coefficient, Unit::One), "");
    }
    values.table()
}
