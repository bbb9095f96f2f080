//! # From uniform numbers to inputs
//!
//! A plan is the list of random streams and of what each one moves, worked out once per run. A source's own part has
//! the stream of its place in the list; a group's common part has one stream after all sources, shared by its members.
//! Correlated sources get their deviates from independent normal ones through the triangular root of the matrix.
//!
//! ```text
//! Formula    x_i = e_i + s_m·Q_i(p_g) + s_a·Q_i(p_i);  correlated: x_i = e_i + s_i·Q_i(Φ(w_i)), w = L·z
//! Symbols    e_i estimate, s scale (limit, or standard uncertainty for normal and t) [own unit], Q_i inverse
//!            distribution function [1], p uniform number [1], Φ normal distribution function, L triangular root
//! Valid      correlated normal sources have exactly the correlation given; others have it between their normal scores
//!            (Gaussian copula), which is within a few hundredths of the coefficient of the values themselves
//! Source     JCGM 101:2008, 6.4.2 to 6.4.9 and C.2 to C.5 (sampling)
//! ```
#![expect(clippy::inline_always, reason = "must be compiled inside the vectorised Monte Carlo loop")]

use super::correlation::Correlation;
use super::model::Model;
use super::normal::{normal_block, normal_distribution};
use super::number::{LANES, Lanes};
use super::quantile::{arcsine_quantile, rectangular_quantile, triangular_quantile};
use super::random::{BLOCK, Column, uniform_block};
use super::source::{Distribution, Source};
use super::student::StudentTable;
use crate::work::{Halt, Work};

/// Vectors of trials in a block.
const ROWS: usize = BLOCK / LANES;

/// An inverse distribution function.
#[derive(Clone, Copy, PartialEq)]
enum Shape {
    Rectangular,
    Triangular,
    Arcsine,
    Normal,
    /// By the table of this place.
    Student(usize),
}

/// What one stream moves.
struct Target {
    source: usize,
    shape: Shape,
    scale: f64,
    /// Whether nothing has been written to this input of the block yet.
    first: bool,
}

/// One stream of uniform numbers.
struct Stream {
    number: u32,
    targets: Vec<Target>,
}

/// One correlated source.
struct Related {
    target: Target,
    /// Row of the triangular root: place among the normal columns, and weight.
    weights: Vec<(usize, f64)>,
}

/// Everything that is the same for all blocks.
pub(super) struct Plan {
    estimates: Vec<f64>,
    streams: Vec<Stream>,
    /// Streams of the independent normal deviates behind the correlated sources.
    normal_streams: Vec<u32>,
    related: Vec<Related>,
    tables: Vec<StudentTable>,
}

/// Working memory of one thread.
pub(super) struct Scratch {
    /// Inputs: row by row, in a row the sources in order.
    x: Vec<Lanes>,
    p: Column,
    z: Column,
    normal: Vec<Column>,
}

/// Shape and scale of a part of a source's limit.
fn shape(source: &Source, part: f64, tables: &mut Vec<StudentTable>, work: Work) -> Result<(Shape, f64), Halt> {
    Ok(match (source.distribution, source.degrees_of_freedom) {
        (Distribution::Rectangular, _) => (Shape::Rectangular, part),
        (Distribution::Triangular, _) => (Shape::Triangular, part),
        (Distribution::Arcsine, _) => (Shape::Arcsine, part),
        (Distribution::Normal { k }, None) => (Shape::Normal, part / k),
        (Distribution::Normal { k }, Some(degrees)) => {
            let same = |table: &StudentTable| table.degrees_of_freedom.total_cmp(&degrees).is_eq();
            let place = tables.iter().position(same).unwrap_or(tables.len());
            if place == tables.len() {
                tables.push(StudentTable::new(degrees, work)?);
            }
            (Shape::Student(place), part / k)
        }
    })
}

/// A place in a list as a stream number; a budget never has 2^32 entries.
fn number(place: usize) -> u32 {
    u32::try_from(place).unwrap_or(u32::MAX)
}

impl Plan {
    pub fn new(
        sources: &[Source],
        groups: &[Vec<usize>],
        correlation: Option<&Correlation>,
        work: Work,
    ) -> Result<Self, Halt> {
        let involved: Vec<usize> = correlation
            .map(|correlation| (0..sources.len()).filter(|&i| correlation.involves(i)).collect())
            .unwrap_or_default();
        let mut written = vec![false; sources.len()];
        let mut tables = Vec::new();
        let mut target = |source: usize, part: f64| -> Result<Target, Halt> {
            let (shape, scale) = shape(&sources[source], part, &mut tables, work)?;
            let first = !std::mem::replace(&mut written[source], true);
            Ok(Target { source, shape, scale, first })
        };
        let mut streams = Vec::new();
        for (i, source) in sources.iter().enumerate() {
            if source.rest() > 0.0 && !involved.contains(&i) {
                streams.push(Stream { number: number(i), targets: vec![target(i, source.rest())?] });
            }
        }
        for (g, members) in groups.iter().enumerate() {
            let targets = members.iter().map(|&i| target(i, sources[i].common())).collect::<Result<_, _>>()?;
            streams.push(Stream { number: number(sources.len() + g), targets });
        }
        let mut related = Vec::new();
        if let Some(correlation) = correlation {
            for &i in &involved {
                let row = correlation.root_row(i);
                let weights = involved
                    .iter()
                    .enumerate()
                    .filter_map(|(place, &j)| row.get(j).filter(|w| **w != 0.0).map(|w| (place, *w)))
                    .collect();
                related.push(Related { target: target(i, sources[i].limit)?, weights });
            }
        }
        Ok(Self {
            estimates: sources.iter().map(|source| source.estimate).collect(),
            streams,
            normal_streams: involved.into_iter().map(number).collect(),
            related,
            tables,
        })
    }

    /// Working memory; inputs that nothing moves stay at their estimates.
    pub fn scratch(&self) -> Scratch {
        let row = self.estimates.iter().map(|&estimate| Lanes::from(estimate));
        Scratch {
            x: (0..ROWS).flat_map(|_| row.clone()).collect(),
            p: [0.0; BLOCK],
            z: [0.0; BLOCK],
            normal: vec![[0.0; BLOCK]; self.normal_streams.len()],
        }
    }

    /// The outputs of one block of trials.
    #[inline(always)]
    pub fn block<M: Model>(&self, model: &M, seed: u64, block: u64, scratch: &mut Scratch, out: &mut Column) {
        let count = self.estimates.len();
        for stream in &self.streams {
            uniform_block(seed, block, stream.number, &mut scratch.p);
            let mut shape = None;
            for target in &stream.targets {
                if shape != Some(target.shape) {
                    self.deviates(target.shape, &scratch.p, &mut scratch.z);
                    shape = Some(target.shape);
                }
                target.move_input(&scratch.z, &self.estimates, &mut scratch.x);
            }
        }
        for (stream, normal) in self.normal_streams.iter().zip(&mut scratch.normal) {
            uniform_block(seed, block, *stream, &mut scratch.p);
            normal_block(&scratch.p, normal);
        }
        for related in &self.related {
            scratch.z = [0.0; BLOCK];
            for &(place, weight) in &related.weights {
                for (z, normal) in scratch.z.iter_mut().zip(&scratch.normal[place]) {
                    *z += weight * normal;
                }
            }
            match related.target.shape {
                Shape::Normal => {}
                Shape::Student(table) => self.tables[table].bend_block(&mut scratch.z),
                shape => {
                    for (p, z) in scratch.p.iter_mut().zip(&scratch.z) {
                        *p = normal_distribution(*z);
                    }
                    self.deviates(shape, &scratch.p, &mut scratch.z);
                }
            }
            related.target.move_input(&scratch.z, &self.estimates, &mut scratch.x);
        }
        for (row, out) in out.chunks_exact_mut(LANES).enumerate() {
            let y = model.evaluate(&scratch.x[row * count..(row + 1) * count]);
            out.copy_from_slice(&y.0);
        }
    }

    /// Deviates of one shape for the uniform numbers of a block.
    #[inline(always)]
    fn deviates(&self, shape: Shape, p: &Column, z: &mut Column) {
        match shape {
            Shape::Rectangular => each(p, z, rectangular_quantile),
            Shape::Triangular => each(p, z, triangular_quantile),
            Shape::Arcsine => each(p, z, arcsine_quantile),
            Shape::Normal => normal_block(p, z),
            Shape::Student(table) => {
                normal_block(p, z);
                self.tables[table].bend_block(z);
            }
        }
    }
}

/// One function for all trials of a block; generic, so that each one gets its own vectorised loop.
#[inline(always)]
fn each(p: &Column, z: &mut Column, quantile: impl Fn(f64) -> f64) {
    for (z, p) in z.iter_mut().zip(p) {
        *z = quantile(*p);
    }
}

impl Target {
    /// Writes or adds the deviates of a block to the input.
    #[inline(always)]
    fn move_input(&self, z: &Column, estimates: &[f64], x: &mut [Lanes]) {
        let count = estimates.len();
        let base = Lanes::from(estimates[self.source]);
        for (row, z) in x.chunks_exact_mut(count).zip(z.chunks_exact(LANES)) {
            let x = &mut row[self.source];
            let before = if self.first { base } else { *x };
            for ((x, before), z) in x.0.iter_mut().zip(before.0).zip(z) {
                *x = before + self.scale * z;
            }
        }
    }
}
