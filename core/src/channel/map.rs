//! # The error over value and temperature
//!
//! The share of the allowance that a channel uses at every value and ambient temperature, each in the worst of all other
//! states, as lines of equal share. It shows where the room is, which the worst state alone does not.
//!
//! ```text
//! Judged     end of life, as it is calibrated; first order ranks the states of a point, the exact model judges the worst
//! Grid       values by temperatures; the worst value and its temperature are points of it
//! Method     worst case, or root-sum-square where that is required; trials are not drawn for a picture
//! Source     JCGM 100:2008; the requirement is judged by corners.rs, and a test compares both
//! ```

use super::JudgedBy;
use super::budget::largest;
use super::corners::Corners;
use super::full;
use super::search::{EVERY, Search};
use crate::propagation::{self, defined};
use crate::quantity::{Quantity, Unit, celsius, percent};
use crate::report::kit::Columns;
use crate::report::{Axis, Chart, Curve, Mark, Stroke, contour};
use crate::work::{Halt, Work};

/// Values of the grid.
const VALUES: usize = 13;
/// Temperatures of the grid.
const TEMPERATURES: usize = 7;
/// The shares that lines are drawn at, percent; at most two on either side of the whole allowance.
const BELOW: [f64; 3] = [85.0, 50.0, 25.0];
const ABOVE: [f64; 6] = [150.0, 200.0, 400.0, 1000.0, 3000.0, 10_000.0];

/// What was found over the grid.
#[derive(Clone, Debug)]
pub struct Map {
    /// The values.
    pub at: Vec<f64>,
    /// The ambient temperatures, °C.
    pub ambient_degc: Vec<f64>,
    /// Share of the allowance at each value, at each temperature, percent; nothing where it cannot be read.
    pub used_percent: Vec<Vec<Option<f64>>>,
}

/// Evenly spaced between two ends, on a logarithmic scale or not; the point nearest to `through` is put there.
fn spaced(low: f64, high: f64, points: usize, log: bool, through: Option<f64>) -> Vec<f64> {
    let share = |step: usize| step as f64 / (points - 1) as f64;
    let at = |step: usize| match step {
        0 => low,
        last if last + 1 == points => high,
        step if log => low * libm::pow(high / low, share(step)),
        step => low + (high - low) * share(step),
    };
    let mut all: Vec<f64> = (0..points).map(at).collect();
    if let Some(through) = through.filter(|through| (low..=high).contains(through)) {
        let away = |value: &f64| if log { (value / through).ln().abs() } else { (value - through).abs() };
        if let Some(nearest) = all.iter_mut().min_by(|a, b| away(a).total_cmp(&away(b))) {
            *nearest = through;
        }
    }
    all
}

impl Map {
    /// The map of a channel over its range; nothing where there is no range, no allowance or one temperature alone.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn of<C: Corners>(chain: &C, log: bool, worst: Option<(f64, f64)>, work: Work) -> Result<Option<Self>, Halt> {
        let mut places = chain.places();
        places.extend(chain.between());
        let sizes = || places.iter().map(|at| at.abs()).filter(|at| *at > 0.0 && chain.allowed(*at).is_some());
        let (low, high) = (sizes().fold(f64::INFINITY, f64::min), sizes().fold(0.0, f64::max));
        let ambients = chain.ambients();
        let (Some(&cold), Some(&hot)) = (ambients.first(), ambients.last()) else { return Ok(None) };
        if low >= high || cold >= hot {
            return Ok(None);
        }
        let range = full::range(chain, work)?;
        if range.none.is_some() {
            return Ok(None);
        }
        let at = spaced(low, high, VALUES, log, worst.map(|(at, _)| at.abs()));
        let ambient_degc = spaced(cold, hot, TEMPERATURES, false, worst.map(|(_, degc)| degc));
        // Below zero only as far as the design goes.
        let least = places.iter().copied().fold(0.0, f64::min);
        let searches: Vec<Search<'_, C>> =
            ambient_degc.iter().map(|degc| Search::at(chain, true, true, vec![*degc], EVERY)).collect();
        let mut used_percent = Vec::with_capacity(at.len());
        for &size in &at {
            let mut row = Vec::with_capacity(searches.len());
            for search in &searches {
                work.go_on()?;
                let mut most = Some(0.0_f64);
                for x in [Some(size).filter(|x| *x <= high), Some(-size).filter(|x| *x >= least)].into_iter().flatten()
                {
                    let used = if range.beyond(x).is_some() { None } else { used(search, x, work)? };
                    most = most.zip(used).map(|(most, used)| most.max(used));
                }
                row.push(most);
            }
            used_percent.push(row);
        }
        Ok(Some(Self { at, ambient_degc, used_percent }))
    }

    /// The largest share, and where.
    pub fn most(&self) -> Option<(f64, f64, f64)> {
        let all = self.used_percent.iter().zip(&self.at).flat_map(|(row, at)| {
            row.iter().zip(&self.ambient_degc).filter_map(move |(used, degc)| Some(((*used)?, *at, *degc)))
        });
        all.max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// As a chart: lines of equal share within the range, and the place of the largest.
    pub fn chart(&self, quantity: &str, unit: Unit, log: bool, state: &str) -> Option<Chart> {
        let (used, at, degc) = self.most()?;
        let scale = |value: f64| if log { value.ln() } else { value };
        let xs: Vec<f64> = self.at.iter().map(|at| scale(*at)).collect();
        let value = |i: usize, j: usize| self.used_percent.get(i)?.get(j).copied().flatten();
        let least = self.used_percent.iter().flatten().flatten().copied().fold(f64::INFINITY, f64::min);
        let crossed = |level: &&f64| least < **level && **level < used;
        let levels = BELOW.iter().filter(crossed).take(2).chain([&100.0]).chain(ABOVE.iter().filter(crossed).take(2));
        let (low, high) = (*self.at.first()?, *self.at.last()?);
        let (cold, hot) = (*self.ambient_degc.first()?, *self.ambient_degc.last()?);
        let edge = vec![[low, cold], [high, cold], [high, hot], [low, hot], [low, cold]];
        // As in a sentence: three digits.
        let share = Quantity::new(used, Unit::Percent).brief(3).to_string();
        let mut marks = vec![Mark { x: at, y: degc, label: share.clone() }];
        let mut curves = vec![Curve { label: String::new(), stroke: Stroke::Thin, points: edge }];
        for level in levels {
            let (stroke, label) = match *level {
                100.0 => (Stroke::Allowed, format!("allowed, {}", percent(100.0))),
                level if level < 100.0 => (Stroke::Second, percent(level).to_string()),
                level => (Stroke::Main, percent(level).to_string()),
            };
            let back = |[x, y]: [f64; 2]| [if log { x.exp() } else { x }, y];
            for (place, line) in contour::lines(&xs, &self.ambient_degc, &value, *level).into_iter().enumerate() {
                let points: Vec<[f64; 2]> = line.into_iter().map(back).collect();
                // A line that ends inside, or at another edge, is labelled where it ends.
                let reaches = points.last().is_some_and(|end| end[0] > low + (high - low) * 0.98);
                let inside = points.last().filter(|_| !reaches && place == 0);
                marks.extend(inside.map(|end| Mark { x: end[0], y: end[1], label: label.clone() }));
                curves.push(Curve { label: if reaches { label.clone() } else { String::new() }, stroke, points });
            }
        }
        let said = |at: f64| Quantity::new(at, unit);
        let where_most = format!("at {} and {}", said(at), celsius(degc));
        let finding = if used > 100.0 {
            format!("The allowance is exceeded most {where_most}, {share} of it")
        } else {
            format!("The allowance is kept at all points looked at, most used {where_most}: {share}")
        };
        let mut columns = Columns::new(
            "used-over-temperature-values",
            "Share of the allowance",
            "",
            &self.used_percent,
            |place, _| self.at.get(place).map_or_else(String::new, |at| said(*at).to_string()),
        );
        for (place, degc) in self.ambient_degc.iter().enumerate() {
            columns =
                columns.column(&celsius(*degc).to_string(), Unit::Percent, |row| row.get(place).copied().flatten());
        }
        let mut table = columns.table();
        table.heads = Some((unit, self.at.clone()));
        table.head = format!("{} and ambient", crate::report::kit::capital(quantity));
        Some(Chart {
            id: "used-over-temperature".into(),
            finding,
            conditions: format!(
                "Lines of equal share of the allowance, less is better; in the worst of all other states, {state}"
            ),
            title: format!("Share of the allowance over {quantity} and ambient temperature"),
            x: if log { Axis::log(quantity, unit) } else { Axis::linear(quantity, unit) },
            y: Axis::linear("ambient temperature", Unit::Celsius),
            curves,
            marks,
            table,
        })
    }
}

/// The picture of a channel, with its worst point on the grid.
pub fn chart<C: Corners>(
    chain: &C,
    quantity: &str,
    log: bool,
    worst: Option<(f64, f64)>,
    state: &str,
) -> Option<Chart> {
    // Some hundred corners take few milliseconds: there is nothing to stop.
    let map = Map::of(chain, log, worst, Work::FREE).ok().flatten()?;
    map.chart(quantity, C::UNIT, log, state)
}

/// The share of the allowance at a value, in the worst of the states of one ambient temperature.
fn used<C: Corners>(search: &Search<'_, C>, x: f64, work: Work) -> Result<Option<f64>, Halt> {
    let Some(allowed) = search.chain.allowed(x).filter(|allowed| *allowed > 0.0) else { return Ok(None) };
    let value = search.value(x);
    let by = match search.chain.judged_by() {
        JudgedBy::RootSumSquare => JudgedBy::RootSumSquare,
        JudgedBy::WorstCase | JudgedBy::Probability95 => JudgedBy::WorstCase,
    };
    let Some(worst) = search.ranked(&value, by, work)?.into_iter().next() else { return Ok(None) };
    let model = search.model(&value, worst.found.state);
    let error = match by {
        JudgedBy::RootSumSquare => {
            defined(propagation::quick(&model, &value.sources, true, work))?.map(|q| q.root_sum_square)
        }
        _ => defined(propagation::worst_case(&model, &value.sources, work))?.map(|(low, high)| largest(low, high)),
    };
    Ok(error.map(|error| error / allowed * 100.0).filter(|used| used.is_finite()))
}
