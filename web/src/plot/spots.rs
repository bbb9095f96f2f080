//! # Marks over a plane
//!
//! How far off a fault makes a reading, against the time until it is handled: across in decades to both sides of zero,
//! upwards in decades, and above all that what nobody handles. The ground is red where a mark matters and comes too late.
//! The area of a mark is its rate, its shape who sees it first; a hollow mark is seen by nobody.

use std::f64::consts::LN_10;
use std::fmt::Write as _;

use sensewright_core::quantity::{Quantity, Unit};
use sensewright_core::report::{Spot, Spots};

use super::axes::{Axis, shows};
use super::label::{Area, overlap, width, wrap};
use super::{Canvas, Size, id};

/// Height of a row of marks that never end.
const ROW: f64 = 24.0;
/// Rows of such marks at most: others lie over each other.
const ROWS: usize = 4;
/// Radius of the smallest and of the largest mark.
const RADIUS: [f64; 2] = [3.5, 10.0];
/// Shapes that can be told apart.
const SHAPES: usize = 5;
/// Labels in a drawing at most.
const LABELS: usize = 6;

/// The horizontal axis: linear below a tenth of what matters, in decades beyond.
struct Across {
    unit_of: f64,
    reach: f64,
    left: f64,
    right: f64,
}

impl Across {
    fn new(with: &Spots, left: f64, right: f64) -> Self {
        let matters = if with.matters.0 > 0.0 && with.matters.0.is_finite() { with.matters.0 } else { 1.0 };
        let unit_of = power((matters.log10() - 1.0).floor());
        let ends = with.spots.iter().flat_map(|spot| [spot.x, spot.span[0], spot.span[1]]);
        let size = ends.filter(|end| end.is_finite()).fold(3.0 * matters, |size, end| size.max(end.abs()));
        let mut across = Self { unit_of, reach: 1.0, left, right };
        across.reach = across.scaled(size.min(1e30) * 1.2);
        across
    }

    fn scaled(&self, value: f64) -> f64 {
        value.signum() * (value.abs() / self.unit_of).ln_1p() / LN_10
    }

    fn place(&self, value: f64) -> f64 {
        let share = (self.scaled(value) / self.reach).clamp(-1.0, 1.0);
        f64::midpoint(self.left, self.right) + share * (self.right - self.left) / 2.0
    }

    /// Zero and the decades on both sides, as many as have room.
    fn ticks(&self, most: f64) -> Vec<f64> {
        let decades = self.reach.floor().min(60.0);
        let stride = (2.0 * decades / most).ceil().max(1.0);
        let mut ticks = vec![0.0];
        let mut decade = decades;
        while decade >= 1.0 {
            let size = self.unit_of * power(decade);
            ticks.extend([-size, size]);
            decade -= stride;
        }
        ticks.sort_by(f64::total_cmp);
        ticks
    }
}

fn power(decade: f64) -> f64 {
    10f64.powf(decade.clamp(-60.0, 60.0))
}

/// Both drawings.
pub fn both(with: &Spots) -> String {
    format!("{}{}", one(with, Size::Wide), one(with, Size::Narrow))
}

/// Rows that the marks that never end take.
fn rows(with: &Spots) -> usize {
    with.spots.iter().filter(|spot| spot.y.is_none()).count().clamp(1, ROWS)
}

/// Shapes with their names: beyond those that can be told apart there is one for all others.
fn named(with: &Spots) -> impl Iterator<Item = (Option<usize>, &str)> {
    let own = with.shapes.iter().enumerate().take(SHAPES).map(|(shape, name)| (Some(shape), name.as_str()));
    own.chain((with.shapes.len() > SHAPES).then_some((Some(SHAPES), "another check")))
}

/// The height of a drawing.
pub fn height(with: &Spots, size: Size) -> f64 {
    let key = named(with).count() as f64 + 1.0;
    let key = if size == Size::Wide { (key / 3.0).ceil() } else { key };
    300.0 + rows(with) as f64 * ROW + key * 18.0
}

/// One drawing.
pub fn one(with: &Spots, size: Size) -> String {
    let wide = if size == Size::Wide { 820.0 } else { 360.0 };
    let height = height(with, size);
    let name = format!("spots-{}", id(&with.id));
    let mut canvas = Canvas::image(size, wide, height, &name, &with.title, &description(with));
    let top = 24.0 + rows(with) as f64 * ROW;
    let bottom = top + 220.0;
    let times: Vec<f64> = with.spots.iter().filter_map(|spot| spot.y).chain(with.latest).collect();
    let y = Axis::new(&with.y, &times, bottom, top + 8.0, 5, true);
    let widest = y.ticks.iter().map(|tick| width(&tick.label, 12.0)).fold(width(&with.never, 12.0), f64::max);
    let (left, right) = ((widest + 14.0).clamp(40.0, 96.0), wide - 14.0);
    let across = Across::new(with, left, right);

    ground(&mut canvas, with, &across, &y, [18.0, bottom]);
    for tick in &y.ticks {
        let level = y.place(tick.value);
        canvas.line("grid", [left, level], [right, level]);
        canvas.text("te t2", [left - 7.0, level + 4.0], &tick.label);
    }
    canvas.text("te t2", [left - 7.0, f64::midpoint(18.0, top) + 4.0], &with.never);
    canvas.line("grid", [left, top], [right, top]);
    canvas.text("t2 ts", [2.0, 10.0], &y.caption);
    under(&mut canvas, with, &across, bottom, if size == Size::Wide { 9.0 } else { 5.0 });

    let places = places(with, &across, &y);
    for (spot, [x, level]) in with.spots.iter().zip(&places) {
        let [from, to] = spot.span.map(|end| across.place(end));
        if (to - from).abs() > 1.0 {
            canvas.line("l-thin", [from, *level], [to, *level]);
        }
        mark(&mut canvas, spot.shape, [*x, *level], radius(spot.share));
    }
    labels(&mut canvas, with, &places, [left, right, bottom], size);
    key(&mut canvas, with, [left, bottom + 58.0], size);
    canvas.finish()
}

/// Red ground: what matters and comes too late, or never.
fn ground(canvas: &mut Canvas, with: &Spots, across: &Across, y: &Axis, [top, bottom]: [f64; 2]) {
    let (matters, sides) = with.matters;
    let late = with.latest.map_or(top + rows(with) as f64 * ROW + 6.0, |latest| y.place(latest));
    for (side, _) in [-1.0, 1.0].into_iter().zip(sides).filter(|(_, minded)| *minded) {
        let (edge, end) = (across.place(side * matters), if side < 0.0 { across.left } else { across.right });
        if late > top {
            canvas.rect("h-ground", [edge, top], [end, late]);
        }
        canvas.line("l-lim", [edge, top], [edge, bottom]);
        if with.latest.is_some() {
            canvas.line("l-lim", [edge, late], [end, late]);
        }
    }
}

/// The axis below, with its labels.
fn under(canvas: &mut Canvas, with: &Spots, across: &Across, bottom: f64, most: f64) {
    canvas.line("axis", [across.left, bottom], [across.right, bottom]);
    let mut edge = f64::NEG_INFINITY;
    for tick in across.ticks(most) {
        let (place, text) = (across.place(tick), said(tick, with.x.unit));
        canvas.line("axis", [place, bottom], [place, bottom + 6.0]);
        let half = width(&text, 12.0) / 2.0;
        if place - half > edge + 6.0 && place + half < across.right + 12.0 {
            canvas.text("tm t2", [place, bottom + 19.0], &text);
            edge = place + half;
        }
    }
    canvas.text("te t2 ts", [across.right, bottom + 33.0], &with.x.label);
}

/// Where the marks stand: those that never end share rows so that neighbours do not cover each other.
fn places(with: &Spots, across: &Across, y: &Axis) -> Vec<[f64; 2]> {
    let mut ends = vec![Vec::<f64>::new(); rows(with)];
    let place = |spot: &Spot| {
        let x = across.place(spot.x);
        if let Some(time) = spot.y.filter(|time| shows(&with.y, *time)) {
            return [x, y.place(time)];
        }
        let free = |row: &Vec<f64>| row.iter().map(|other| (other - x).abs()).fold(f64::INFINITY, f64::min);
        let row = ends.iter().position(|row| free(row) > 2.0 * RADIUS[1]).unwrap_or_else(|| {
            let best =
                |(_, one): &(usize, &Vec<f64>), (_, other): &(usize, &Vec<f64>)| free(one).total_cmp(&free(other));
            ends.iter().enumerate().max_by(best).map_or(0, |(row, _)| row)
        });
        ends[row].push(x);
        [x, 18.0 + (row as f64 + 0.5) * ROW]
    };
    with.spots.iter().map(place).collect()
}

fn radius(share: f64) -> f64 {
    RADIUS[0] + (RADIUS[1] - RADIUS[0]) * share.clamp(0.0, 1.0).sqrt()
}

/// A mark: hollow and round where nobody sees it.
fn mark(canvas: &mut Canvas, shape: Option<usize>, [x, y]: [f64; 2], r: f64) {
    let Some(shape) = shape else { return canvas.dot("s-not", [x, y], r) };
    let at = |points: &[[f64; 2]]| points.iter().map(|[dx, dy]| [x + dx * r, y + dy * r]).collect::<Vec<_>>();
    match shape {
        0 => canvas.rect("s-seen", [x - 0.85 * r, y - 0.85 * r], [x + 0.85 * r, y + 0.85 * r]),
        1 => canvas.polygon("s-seen", &at(&[[0.0, -1.15], [1.1, 0.8], [-1.1, 0.8]])),
        2 => canvas.polygon("s-seen", &at(&[[0.0, -1.2], [1.2, 0.0], [0.0, 1.2], [-1.2, 0.0]])),
        3 => canvas.dot("s-seen", [x, y], r),
        4 => canvas.polygon("s-seen", &at(&[[0.0, 1.15], [1.1, -0.8], [-1.1, -0.8]])),
        _ => {
            canvas.line("axis", [x - r, y], [x + r, y]);
            canvas.line("axis", [x, y - r], [x, y + r]);
        }
    }
}

/// What stands beside the marks that matter most, where it covers nothing.
fn labels(canvas: &mut Canvas, with: &Spots, places: &[[f64; 2]], [left, right, bottom]: [f64; 3], size: Size) {
    let letters = if size == Size::Wide { 34 } else { 20 };
    let mut taken: Vec<Area> = places.iter().map(|[x, y]| [x - 6.0, y - 6.0, x + 6.0, y + 6.0]).collect();
    for (index, (spot, [x, y])) in with.spots.iter().zip(places).enumerate().take(LABELS) {
        let text = wrap(&spot.label, letters, 1).concat();
        let (long, away) = (width(&text, 12.5), radius(spot.share) + 4.0);
        let choices = [(x + away, "tb halo"), (x - away - long, "tb halo te")];
        let levels = [y + 4.0, y - away, y + away + 10.0];
        let all = levels.into_iter().flat_map(|level| choices.map(|(start, class)| (start, class, level)));
        let free = all.into_iter().find(|(start, _, level)| {
            let area = [*start, level - 11.0, start + long, level + 3.0];
            let own = taken[index];
            let others = taken.iter().filter(|other| **other != own);
            *start > left
                && start + long < right
                && *level > 12.0
                && *level < bottom
                && others.map(|other| overlap(area, &[*other])).sum::<f64>() < 1.0
        });
        if let Some((start, class, level)) = free {
            let anchor = if class.ends_with("te") { start + long } else { start };
            canvas.text(class, [anchor, level], &text);
            taken.push([start, level - 11.0, start + long, level + 3.0]);
        }
    }
}

/// What the shapes mean.
fn key(canvas: &mut Canvas, with: &Spots, [left, top]: [f64; 2], size: Size) {
    let columns = if size == Size::Wide { 3 } else { 1 };
    for (index, (shape, name)) in std::iter::once((None, "seen by nobody in time")).chain(named(with)).enumerate() {
        let at = [left + (index % columns) as f64 * 235.0, top + (index / columns) as f64 * 18.0];
        mark(canvas, shape, [at[0] + 5.0, at[1] - 4.0], 5.0);
        canvas.text("t2", [at[0] + 16.0, at[1]], &wrap(name, 30, 1).concat());
    }
}

fn said(value: f64, unit: Unit) -> String {
    Quantity::new(value, unit).brief(2).to_string()
}

/// The reading in words, not the shape.
fn description(with: &Spots) -> String {
    let mut text = format!("{}.", with.finding.trim_end_matches('.'));
    for spot in with.spots.iter().take(LABELS) {
        let time = spot.y.map_or_else(|| with.never.clone(), |time| said(time, with.y.unit));
        let who = spot.shape.and_then(|shape| with.shapes.get(shape)).map_or("nobody", String::as_str);
        let _ = write!(text, " {}: {} off, {time}, seen by {who}.", spot.label, said(spot.x, with.x.unit));
    }
    text
}
