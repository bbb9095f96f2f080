//! # Worst case
//!
//! Every source may sit anywhere inside its limits, so the inputs fill a box; the worst case is the smallest and the
//! largest output over it. A model that is monotone in each input has both in corners of the box, which the signs of
//! the sensitivities point to; what cancels to first order (a gain that a calibration takes out) is set by what it does
//! at the corner of the others. The corner is then improved by moving one deviate at a time until none helps.
//!
//! ```text
//! Formula    y_low, y_high = min, max f(x) over all deviates z in −1 … 1: x_i = e_i + m_i·z_g + (a_i − m_i)·z_i;
//!            normal sources together: x_i = e_i ± k_w u_i Σ_j r_ij u_j c_j/u_N, c_i the slopes where the model stands
//! Symbols    e_i estimate, a_i limit, m_i common part, u_i standard uncertainty [own unit]; z_g deviate of a group, z_i
//!            of a source [1]; k_w u_N the joined normal line
//! Valid      exact for models monotone in each deviate; a minimum or maximum inside one deviate's range is found
//!            too (slope test and golden section); for anything wilder it is a lower bound of the true spread.
//!            Correlation coefficients do not shrink the box. Where no slope is left, each normal source is tried alone
//! Wide       of a model of unknown shape corners and middles are looked at besides: all 3ⁿ of up to 7 deviates, all 2ⁿ
//!            corners of up to 10, else as many of them as that; the best are walked from; normal sources in pairs, too
//! Source     extreme-value analysis; golden section: textbook
//! ```

use smallvec::{SmallVec, smallvec};

use super::fault::{Fault, finite};
use super::first_order::slopes;
use super::joined::Joining;
use super::model::Model;
use super::number::{LANES, Lanes, MANY, Numbers, Places};
use super::source::Source;
use crate::work::Work;

/// Passes over all deviates; each accepted move improves the value, so a handful is plenty.
const SWEEPS: usize = 16;
/// A deviate that does less than this share of the sum waits for the others.
const SMALL: f64 = 0.02;
/// Rounds of looking for extremes inside a range.
const ROUNDS: usize = 4;
/// Golden-section steps: 0.618^48 = 1e-10 of the range, and the value errs by the square of that.
const GOLDEN_STEPS: usize = 48;
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Deviates of which every end and middle is looked at.
const ALL_MIDDLES: usize = 7;
/// Deviates of which every corner is looked at, and how many corners of more.
const ALL_CORNERS: usize = 10;
/// How many of what was looked at are walked from.
const BEGINNINGS: usize = 8;
/// Normal sources that are tried in pairs.
const PAIRED: usize = 12;
const PLACE: &str = "somewhere inside the limits";

/// A point in the box of deviates.
struct Walk<'a, M> {
    model: &'a M,
    sources: &'a [Source],
    groups: &'a [Vec<usize>],
    /// Group of each source that has a common part.
    group_of: &'a [Option<usize>],
    /// Deviate of each source's own part, of a normal source its distance from the estimate; then of each group.
    z: Vec<f64>,
    x: Vec<f64>,
    /// 1 looks for the largest value, −1 for the smallest.
    direction: f64,
    /// Best value so far.
    best: f64,
    joining: Joining<'a>,
    /// Factor of the joined normal line; nothing without normal sources.
    k: Option<f64>,
    /// Whether the model may have any shape.
    wide: bool,
    work: Work<'a>,
    /// The slopes where it stands, once somebody asked.
    slopes: Option<Numbers>,
}

impl<M: Model> Walk<'_, M> {
    /// Sets one deviate and the inputs it moves.
    fn set(&mut self, j: usize, z: f64) {
        self.z[j] = z;
        let count = self.sources.len();
        if j < count {
            self.place(j);
        } else {
            let groups = self.groups;
            for &i in &groups[j - count] {
                self.place(i);
            }
        }
    }

    /// Computes input `i` from scratch, so that no rounding piles up.
    fn place(&mut self, i: usize) {
        let source = &self.sources[i];
        if source.counts_as_normal() {
            self.x[i] = source.estimate + self.z[i];
            return;
        }
        let common = self.group_of[i].map_or(0.0, |group| source.common() * self.z[self.sources.len() + group]);
        self.x[i] = source.estimate + common + source.rest() * self.z[i];
    }

    /// Goes to the corner that the slopes point to. Where a deviate does next to nothing alone, the sign of its slope is a
    /// matter of rounding: it acts by what it multiplies, and is set by what it does at the corner that the others make.
    fn start(&mut self, sensitivities: &[f64]) -> Result<(), Fault> {
        // Groups first: a source's input is computed from its group's deviate.
        for j in (0..self.z.len()).rev() {
            self.set(j, 0.0);
        }
        let mut open: Places = (0..self.z.len()).rev().filter(|j| self.moves(*j)).collect();
        let mut leans: Numbers = open.iter().map(|&j| self.slope(j, sensitivities)).collect();
        let mut least = SMALL * leans.iter().map(|lean| lean.abs()).sum::<f64>();
        loop {
            for (&j, &lean) in open.iter().zip(&leans) {
                if lean.abs() > least {
                    self.set(j, if lean * self.direction < 0.0 { -1.0 } else { 1.0 });
                }
            }
            let mut small = leans.iter().map(|lean| lean.abs() <= least);
            open.retain(|_| small.next().unwrap_or(false));
            self.best = self.value()?;
            leans.clear();
            for &j in &open {
                self.set(j, 1.0);
                leans.push(self.value()? - self.best);
                self.set(j, 0.0);
            }
            let most = leans.iter().fold(0.0_f64, |most, lean| most.max(lean.abs()));
            if most == 0.0 {
                // None does anything alone: any corner is a beginning.
                for &j in &open {
                    self.set(j, 1.0);
                }
                self.best = self.value()?;
                return Ok(());
            }
            least = SMALL * most;
        }
    }

    /// How far deviate `j` moves the output, from sensitivities.
    fn slope(&self, j: usize, sensitivities: &[f64]) -> f64 {
        match self.sources.get(j) {
            Some(source) => sensitivities[j] * source.rest(),
            None => {
                let members = self.groups[j - self.sources.len()].iter();
                let bounded = members.filter(|&&i| !self.sources[i].counts_as_normal());
                bounded.map(|&i| sensitivities[i] * self.sources[i].common()).sum()
            }
        }
    }

    /// Whether deviate `j` moves anything.
    fn moves(&self, j: usize) -> bool {
        self.sources.get(j).is_none_or(|source| source.rest() > 0.0 && !source.counts_as_normal())
    }

    fn value(&self) -> Result<f64, Fault> {
        finite(self.model.evaluate(&self.x), PLACE)
    }

    /// Takes a move if it helps.
    fn attempt(&mut self, j: usize, z: f64) -> Result<bool, Fault> {
        let before = self.z[j];
        if before.total_cmp(&z).is_eq() {
            return Ok(false);
        }
        self.set(j, z);
        let value = self.value()?;
        let helps = self.direction * (value - self.best) > 0.0;
        if helps {
            (self.best, self.slopes) = (value, None);
        } else {
            self.set(j, before);
        }
        Ok(helps)
    }

    /// The slopes where it stands.
    fn slopes(&mut self) -> Numbers {
        self.slopes.get_or_insert_with(|| slopes(self.model, &self.x, self.sources)).clone()
    }

    /// Whether another corner or the middle of some deviate alone helps: eight are looked at in one pass.
    fn helps(&mut self) -> Result<bool, Fault> {
        self.work.go_on()?;
        let mut lanes: SmallVec<[Lanes; MANY]> = self.x.iter().map(|&x| Lanes::from(x)).collect();
        let open = (0..self.z.len()).filter(|&j| self.moves(j));
        let moves: SmallVec<[(usize, f64); 2 * MANY]> = open
            .flat_map(|j| [-1.0, 0.0, 1.0].map(|z| (j, z)))
            .filter(|&(j, z)| self.z[j].total_cmp(&z).is_ne())
            .collect();
        for eight in moves.chunks(LANES) {
            for (lane, &(j, z)) in eight.iter().enumerate() {
                self.lay(j, z, lane, &mut lanes);
            }
            let values = self.model.evaluate(&lanes);
            for (lane, &(j, _)) in eight.iter().enumerate() {
                self.lay(j, self.z[j], lane, &mut lanes);
                if self.direction * (finite(values.0[lane], PLACE)? - self.best) > 0.0 {
                    return Ok(true);
                }
            }
        }
        Ok(false)
    }

    /// Puts the inputs of one lane where they are with another deviate.
    fn lay(&mut self, j: usize, z: f64, lane: usize, lanes: &mut [Lanes]) {
        let (before, count) = (self.z[j], self.sources.len());
        self.set(j, z);
        if j < count {
            lanes[j].0[lane] = self.x[j];
        } else {
            for &i in &self.groups[j - count] {
                lanes[i].0[lane] = self.x[i];
            }
        }
        self.set(j, before);
    }

    /// Tries the other corners and the middle of each deviate until none helps.
    fn sweep(&mut self) -> Result<(), Fault> {
        for _ in 0..SWEEPS {
            // Mostly it stands where it should: that is seen at once.
            if !self.helps()? {
                break;
            }
            let mut helped = false;
            for j in 0..self.z.len() {
                if !self.moves(j) {
                    continue;
                }
                self.work.go_on()?;
                for z in [-1.0, 0.0, 1.0] {
                    helped |= self.attempt(j, z)?;
                }
            }
            if !helped {
                break;
            }
        }
        Ok(())
    }

    /// Where the slope at the best point leads into the box, looks along that deviate.
    fn polish(&mut self) -> Result<bool, Fault> {
        self.work.go_on()?;
        let slopes = self.slopes();
        let mut helped = false;
        for j in 0..self.z.len() {
            let inward = self.direction * self.slope(j, &slopes);
            // How far the deviate could still go the way the slope points.
            let way = if inward > 0.0 { 1.0 - self.z[j] } else { 1.0 + self.z[j] };
            if self.moves(j) && inward != 0.0 && way > 0.0 {
                helped |= self.golden(j)?;
            }
        }
        Ok(helped)
    }

    /// Puts all normal sources where the slopes at the present point call for, if it helps; where none has a slope, where
    /// each of them alone does.
    fn aim(&mut self) -> Result<bool, Fault> {
        let Some(k) = self.k else { return Ok(false) };
        self.work.go_on()?;
        let slopes = self.slopes();
        let normals = |i: &usize| self.sources[*i].counts_as_normal();
        let normals: Places = (0..self.sources.len()).filter(normals).collect();
        let mut helped = false;
        if normals.iter().any(|&i| slopes[i] != 0.0) {
            helped |= self.stand(&normals, &slopes, self.direction * k)?;
            if !self.wide {
                return Ok(helped);
            }
        }
        let mut along: Numbers = smallvec![0.0; slopes.len()];
        for (place, &i) in normals.iter().enumerate() {
            self.work.go_on()?;
            along[i] = 1.0 / self.sources[i].standard();
            helped |= self.stand(&normals, &along, k)?;
            helped |= self.stand(&normals, &along, -k)?;
            // What only a product of two does shows along neither of them.
            let partners = if self.wide && normals.len() <= PAIRED { &normals[place + 1..] } else { &[] };
            for &j in partners {
                for side in [1.0, -1.0] {
                    along[j] = side / self.sources[j].standard();
                    helped |= self.stand(&normals, &along, k)?;
                    helped |= self.stand(&normals, &along, -k)?;
                }
                along[j] = 0.0;
            }
            along[i] = 0.0;
        }
        Ok(helped)
    }

    /// Improves the point where it stands until nothing helps.
    fn climb(&mut self) -> Result<(), Fault> {
        self.aim()?;
        self.sweep()?;
        for _ in 0..ROUNDS {
            let polished = self.polish()?;
            let aimed = self.aim()?;
            if aimed {
                self.sweep()?;
            }
            if !(polished || aimed) {
                break;
            }
        }
        Ok(())
    }

    /// Goes to a point of the box, normal sources at their estimates.
    fn go(&mut self, to: &[f64]) -> Result<(), Fault> {
        // Groups first: a source's input is computed from its group's deviate.
        for j in (0..to.len()).rev() {
            self.set(j, to[j]);
        }
        (self.best, self.slopes) = (self.value()?, None);
        Ok(())
    }

    /// The best of many corners and middles of the box, the same ones every time.
    fn beginnings(&mut self) -> Result<Vec<Vec<f64>>, Fault> {
        let open: Vec<usize> = (0..self.z.len()).filter(|j| self.moves(*j)).collect();
        let middles = open.len() <= ALL_MIDDLES;
        let base = if middles { 3 } else { 2 };
        let count = base_to(base, open.len().min(ALL_CORNERS));
        let mut best: Vec<(f64, Vec<f64>)> = Vec::with_capacity(BEGINNINGS + 1);
        let mut at = vec![0.0; self.z.len()];
        for number in 0..count {
            self.work.go_on()?;
            let mut digits = if open.len() > ALL_CORNERS { mixed(number) } else { number };
            for &j in &open {
                at[j] = match (digits % base, middles) {
                    (0, _) => -1.0,
                    (1, true) => 0.0,
                    _ => 1.0,
                };
                digits /= base;
            }
            self.go(&at)?;
            let value = self.direction * self.best;
            let place = best.partition_point(|other| other.0 >= value);
            if place < BEGINNINGS {
                best.insert(place, (value, at.clone()));
                best.truncate(BEGINNINGS);
            }
        }
        Ok(best.into_iter().map(|one| one.1).collect())
    }

    /// Puts the normal sources `k` joined standard uncertainties along some slopes, if it helps.
    fn stand(&mut self, normals: &[usize], slopes: &[f64], k: f64) -> Result<bool, Fault> {
        let Some((_, pull)) = self.joining.join(self.sources, self.groups, slopes)? else { return Ok(false) };
        let before: Numbers = normals.iter().map(|&i| self.z[i]).collect();
        for &i in normals {
            self.set(i, k * pull[i]);
        }
        let value = self.value()?;
        if self.direction * (value - self.best) > 0.0 {
            (self.best, self.slopes) = (value, None);
            return Ok(true);
        }
        for (&i, before) in normals.iter().zip(before) {
            self.set(i, before);
        }
        Ok(false)
    }

    /// Golden section for the best value along one deviate.
    fn golden(&mut self, j: usize) -> Result<bool, Fault> {
        self.work.go_on()?;
        let start = self.z[j];
        let (mut low, mut high) = (-1.0, 1.0);
        let at = |walk: &mut Self, z: f64| {
            walk.set(j, z);
            walk.value().map(|value| walk.direction * value)
        };
        let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (mut on_left, mut on_right) = (at(self, left)?, at(self, right)?);
        for _ in 0..GOLDEN_STEPS {
            if on_left > on_right {
                high = right;
                (right, on_right) = (left, on_left);
                left = high - GOLDEN * (high - low);
                on_left = at(self, left)?;
            } else {
                low = left;
                (left, on_left) = (right, on_right);
                right = low + GOLDEN * (high - low);
                on_right = at(self, right)?;
            }
        }
        self.set(j, start);
        self.attempt(j, f64::midpoint(low, high))
    }
}

fn base_to(base: u64, digits: usize) -> u64 {
    (0..digits).fold(1, |power, _| power * base)
}

/// A number whose binary digits look like chance, the same one every time.
fn mixed(number: u64) -> u64 {
    let mut bits = (number + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}

/// Smallest and largest output over the box, starting where `sensitivities` (at the estimates) point; of a model that may
/// have any shape (`wide`) from many corners besides.
pub(super) fn extremes<M: Model>(
    model: &M,
    sources: &[Source],
    groups: &[Vec<usize>],
    sensitivities: &[f64],
    joining: Joining,
    wide: bool,
    work: Work,
) -> Result<(f64, f64), Fault> {
    let k = joining.line(sources, groups, sensitivities)?.map(|aim| aim.line.k);
    let mut group_of = vec![None; sources.len()];
    for (group, members) in groups.iter().enumerate() {
        for &i in members {
            group_of[i] = Some(group);
        }
    }
    let one = |direction: f64| -> Result<f64, Fault> {
        let count = sources.len() + groups.len();
        let mut walk = Walk {
            model,
            sources,
            groups,
            group_of: &group_of,
            z: vec![0.0; count],
            x: vec![0.0; sources.len()],
            direction,
            best: 0.0,
            joining,
            k,
            wide,
            work,
            slopes: None,
        };
        walk.start(sensitivities)?;
        walk.climb()?;
        let mut best = walk.best;
        if wide {
            for beginning in walk.beginnings()? {
                walk.go(&beginning)?;
                walk.climb()?;
                if direction * (walk.best - best) > 0.0 {
                    best = walk.best;
                }
            }
        }
        Ok(best)
    };
    Ok((one(-1.0)?, one(1.0)?))
}
