//! # A calculation by itself
//!
//! What turns a requirement that fails is looked for in a whole design (`levers`). A calculation alone is a design of one
//! part, with its input as typed: nothing is handed down to it.
//!
//! ```text
//! Given    of a calculation that designs have: what is given there, and what a pack would hand down. Of the others: loads,
//!          surroundings, ends of what comes in, and allowed limits
//! Source   common practice, no source
//! ```

use serde_json::Map;

use super::assess::{Assessed, AssessedPart, Row};
use super::cost::Questions;
use super::levers::{Lever, Levers, levers_in};
use super::movable::Movable;
use super::prepared::Prepared;
use super::section::{Kind, SECTIONS, Section, kind};
use super::turning::{Reach, Turning, assumptions, nearest_of_each, turning_in};
use super::{Design, Part, cost};
use crate::calc::conversion::converter::ConverterChain;
use crate::calc::current::shunt::{CurrentShunt, parallel::ShuntParallel, two_range::ShuntTwoRange};
use crate::calc::free::{conformity::Conformity, uncertainty::FreeModel};
use crate::calc::voltage::divider::{Divider, choice::DividerChoice};
use crate::calculation::{Ask, Depth, Entry};
use crate::field::Typed;
use crate::work::{Cost, Refused, Work};

/// The calculations that no section of a design has, and that require something.
static OTHERS: Section = Section {
    key: "alone",
    title: "",
    one: "",
    absent: "",
    kinds: &[
        Kind {
            given: &[
                "/shunt/reference_degc",
                "/shunt/derate_from_degc",
                "/shunt/zero_power_degc",
                "/operating",
                "/readout/allowed_percent",
            ],
            ..kind::<CurrentShunt>("", &[])
        },
        Kind {
            given: &["/current_a", "/allowed_share_error_percent"],
            cells: &[("/elements", &["resistance_ohm", "mounting_ohm"])],
            ..kind::<ShuntParallel>("", &[])
        },
        Kind { given: &["/resolution_a", "/allowed_step_a"], ..kind::<ShuntTwoRange>("", &[]) },
        Kind {
            given: &[
                "/input_min_v",
                "/input_max_v",
                "/transient_v",
                "/upper/derate_from_degc",
                "/upper/zero_power_degc",
                "/upper/correlation",
                "/lower/derate_from_degc",
                "/lower/zero_power_degc",
                "/lower/correlation",
                "/leakage_budget_percent",
                "/ambient_degc",
                "/calibration_degc",
                "/stress_limit_percent",
                "/ramp_v_per_s",
                "/strings",
                "/pack_insulation_ohm",
                "/insulation_requirement_ohm_per_v",
                "/layout/creepage_mm_per_v",
            ],
            ..kind::<Divider>("", &[])
        },
        Kind {
            given: &[
                "/input_max_v",
                "/target_output_v",
                "/load_ohm",
                "/stress_limit_percent",
                "/max_current_a",
                "/listed",
            ],
            ..kind::<DividerChoice>("", &[])
        },
        Kind {
            given: &[
                "/amplifier/common_mode_v",
                "/amplifier/supply_ripple_v",
                "/amplifier/supply_change_v",
                "/amplifier/injected_v",
                "/ambient_min_degc",
                "/ambient_max_degc",
                "/calibration_degc",
                "/signals",
            ],
            ..kind::<ConverterChain>("", &[])
        },
        Kind {
            given: &["/coverage_probability_percent", "/coverage_factor", "/normal_k", "/allowed", "/trials", "/seed"],
            cells: &[("/inputs", &["limit", "limit_below", "standard"])],
            ..kind::<FreeModel>("", &[])
        },
        Kind { given: &["/lower", "/upper", "/measured", "/process", "/allowed"], ..kind::<Conformity>("", &[]) },
    ],
    most: 1,
};

/// Where a calculation stands as a part; nothing of one that requires nothing, or whose values are recorded.
fn placed(entry: &Entry) -> Option<(&'static Section, &'static Kind)> {
    let kinds = |section: &'static Section| section.kinds.iter().map(move |kind| (section, kind));
    let mut all = SECTIONS.iter().chain(std::iter::once(&OTHERS)).flat_map(kinds);
    all.find(|(_, kind)| kind.entry.meta.slug == entry.meta.slug)
}

/// Whether what turns a failure of a calculation can be looked for.
pub fn can_be_turned(entry: &Entry) -> bool {
    placed(entry).is_some()
}

/// What looking for it costs.
pub fn cost_of_turning(entry: &Entry, input: &dyn Typed, work: Work) -> Cost {
    let judged = entry.cost(input, Depth::Requirements, work);
    judged.then(cost::asked(judged, cost::numbers(input), Questions::ALONE))
}

/// A calculation alone, and what turns its failures.
#[derive(Debug)]
pub struct Alone {
    /// The calculation as a design of one part.
    pub assessed: Assessed,
    /// What turns its failures.
    pub levers: Levers,
    prepared: Prepared,
}

/// What turns the failures of a calculation alone; nothing where that cannot be looked for.
///
/// # Errors
/// Contradictions of the input, or the work was stopped.
pub fn alone(entry: &Entry, input: Box<dyn Typed>, work: Work) -> Result<Option<Alone>, Refused> {
    let Some((assessed, prepared)) = made(entry, input, work)? else { return Ok(None) };
    let levers = levers_in(&assessed, &prepared, work)?;
    Ok(Some(Alone { assessed, levers, prepared }))
}

/// A calculation alone, and of its requirements that hold the value nearest to turning each; the nearest first, and nothing
/// where that cannot be looked for. Every number that was typed may be another: nobody hands it down.
///
/// # Errors
/// Contradictions of the input, or the work was stopped.
pub fn nearest(entry: &Entry, input: Box<dyn Typed>, work: Work) -> Result<Option<(Assessed, Vec<Turning>)>, Refused> {
    let Some((assessed, prepared)) = made(entry, input, work)? else { return Ok(None) };
    let idle: Vec<&str> = assessed.parts[0].part.idle().collect();
    let counts = |pointer: &str| idle.iter().all(|group| !pointer.starts_with(&format!("{group}/")));
    let values = assumptions(Movable::of_input(&assessed.design, &prepared, 0, counts));
    let all = turning_in(&assessed, &prepared, values, Reach::Each, work)?;
    Ok(Some((assessed, nearest_of_each(all))))
}

/// The design of one part.
fn made(entry: &Entry, input: Box<dyn Typed>, work: Work) -> Result<Option<(Assessed, Prepared)>, Refused> {
    let Some((section, kind)) = placed(entry) else { return Ok(None) };
    let answer = entry.solve(&*input, Ask::to(Depth::Requirements), work)?;
    let rests_on = vec![None; kind.rests.len()];
    let (name, typed, written) = (String::new(), Map::new(), input.written());
    let part = Part { section, index: 0, number: 1, kind, name, rests_on, typed, input: written };
    let design = Design { parts: vec![part.clone()], ..Design::start() };
    let prepared = Prepared::alone(&design.head, &part, input);
    let requirements = answer.requirements.iter().map(|check| Row { part: 0, check: check.clone() }).collect();
    let verdict = answer.verdict();
    let parts = vec![AssessedPart { part, answer, carried: Vec::new(), left_out: Vec::new(), verdict }];
    Ok(Some((Assessed { design, parts, requirements, told_twice: Vec::new() }, prepared)))
}

impl Alone {
    /// The address of the calculation with the value of a lever.
    pub fn address_with(&self, lever: &Lever, value: f64) -> Option<String> {
        let part = &self.assessed.parts.get(lever.part)?.part;
        let mut input = self.prepared.input(lever.part).copy();
        let put = input.put(lever.pointer.strip_prefix(&part.pointer())?, value);
        put.then(|| part.entry().address(&input.written()))
    }
}

#[cfg(test)]
mod tests {
    use super::OTHERS;
    use crate::field::{Kind, declared};

    /// What is given and which cells are moved is declared.
    #[test]
    fn what_is_given_alone_is_a_field() {
        for kind in OTHERS.kinds {
            let slug = kind.entry.meta.slug;
            for given in kind.given {
                assert!(declared(kind.entry.fields, given).is_some(), "{slug} has no {given}");
            }
            for (list, columns) in kind.cells {
                let Some(Kind::List { fields, .. }) = declared(kind.entry.fields, list).map(|field| field.kind) else {
                    panic!("{slug} has no list {list}")
                };
                assert!(columns.iter().all(|key| fields.iter().any(|field| field.key == *key)), "{slug}: {list}");
            }
        }
    }
}
