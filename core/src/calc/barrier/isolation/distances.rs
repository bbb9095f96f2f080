//! Distances through air and along surfaces: what the barrier needs, crossing by crossing.
//!
//! Clearance follows from the impulse voltage and from the recurring peak, whichever asks for more, times the altitude;
//! creepage from the working voltage and the surface, and it is never shorter than the clearance. What is not given is taken
//! at its mildest, so that a failure is certain, and what does not fail then is not judged.

use std::borrow::Cow;

use super::input::{
    AltitudeRows, Barrier, BetweenRows, Category, Crossing, FieldShape, ImpulseBy, Insulation, IsolationInput,
    MaterialGroup,
};
use super::spacing::{
    ClearanceBy, CreepageBy, IsolationClearance, IsolationCrossing, IsolationOpenElement, IsolationStress,
};
use super::tables::{
    ALTITUDE, Between, CLEARANCE, CREEPAGE, Found, HOMOGENEOUS, IMPULSE, Line, PEAK, RIB, Table, counting, creepage,
    look, reach,
};
use crate::field::FieldError;
use crate::quantity::Quantity;

/// The preferred impulse voltages, V. IEC 60664-1:2020 clause 4.2.3.
const PREFERRED_V: [f64; 9] = [330.0, 500.0, 800.0, 1500.0, 2500.0, 4000.0, 6000.0, 8000.0, 12e3];
/// What reinforced insulation stands where there is no next preferred value. From memory of IEC 60664-1 clause 5.2.5.
pub const REINFORCED: f64 = 1.6;
/// Smallest clearances of pollution degree 1, 2 and 3, mm. From memory of IEC 60664-1:2020 Table F.2.
const FLOORS_MM: [f64; 3] = [0.0, 0.2, 0.8];
/// The narrowest groove whose contour counts at pollution degree 1, 2 and 3, mm. IEC 60664-1 clause 6.2.
const GROOVES_MM: [f64; 3] = [0.25, 1.0, 1.5];
/// Up to this clearance a third of it is the narrowest groove, mm.
const GROOVE_CLEARANCE_MM: f64 = 3.0;
/// A rib counts from these shares of the creepage on: width and height. From memory of IEC 60664-1.
const RIB_SHARES: [f64; 2] = [0.2, 0.25];
/// Group IIIb is not to be used above this at pollution degree 3, V. From memory of IEC 60664-1.
const GROUP_IIIB_V: f64 = 630.0;

/// All distances of the barrier.
#[derive(Clone, Debug)]
pub struct Distances {
    pub stress: IsolationStress,
    pub clearance: Option<IsolationClearance>,
    pub crossings: Vec<IsolationCrossing>,
    pub open_element: Option<IsolationOpenElement>,
}

/// The rows that count of every table.
struct Rows<'a> {
    input: &'a IsolationInput,
    distances: Between,
}

/// Works out all distances.
///
/// # Errors
/// A value lies outside its table: the message says which range there is.
pub fn distances(input: &IsolationInput) -> Result<Distances, Vec<FieldError>> {
    let barrier = &input.barrier;
    let between = match barrier.between_rows {
        BetweenRows::Linear => Between::Linear,
        BetweenRows::NextRow => Between::NextRow,
    };
    let rows = Rows { input, distances: between };
    let mut faults = Vec::new();
    let stress = rows.stress().map_err(|fault| vec![fault])?;
    let mut keep = |found: Result<_, FieldError>| found.map_err(|fault| faults.push(fault)).ok().flatten();
    let clearance = keep(rows.clearance(&stress, barrier.pollution_degree));
    let coated = barrier.coating_tested.then(|| keep(rows.clearance(&stress, 1))).flatten();
    let mut crossings = Vec::with_capacity(input.crossings.len());
    for (row, crossing) in input.crossings.iter().enumerate() {
        let coats = barrier.coating_tested && crossing.printed_wiring;
        match rows.crossing(row, crossing, stress.working_v, if coats { coated } else { clearance }) {
            Ok(one) => crossings.push(one),
            Err(fault) => faults.push(fault),
        }
    }
    let open_element = match rows.open_element(&stress) {
        Ok(one) => one,
        Err(fault) => {
            faults.push(fault);
            None
        }
    };
    if faults.is_empty() { Ok(Distances { stress, clearance, crossings, open_element }) } else { Err(faults) }
}

/// The next preferred impulse voltage, where the value is one and has one.
fn next_preferred(rated_v: f64) -> Option<f64> {
    let place = PREFERRED_V.iter().position(|preferred| preferred.to_bits() == rated_v.to_bits())?;
    PREFERRED_V.get(place + 1).copied()
}

/// What class of insulation stands: the next preferred impulse voltage, or 160 %.
pub fn impulse_of_class(class: Insulation, rated_v: f64) -> f64 {
    match class {
        Insulation::Reinforced => next_preferred(rated_v).unwrap_or(REINFORCED * rated_v),
        _ => rated_v,
    }
}

/// A place of a table that has no row: what was asked, and what there is.
fn beyond(field: &str, what: &str, table: &Table, [first, last]: [f64; 2], given: f64, advice: &str) -> FieldError {
    let unit = table.axis;
    let [first, last, given] = [first, last, given].map(|value| Quantity::new(value, unit));
    let message = format!("{what} of {given} lies beyond {}, which ends at {last}.{advice}", table.source);
    FieldError::contradiction(field, message, format!("from {first} to {last}"), given)
}

impl Rows<'_> {
    fn lines(&self, table: &'static Table) -> Cow<'static, [Line]> {
        counting(table, self.input.tables.lines(table.own))
    }

    fn stress(&self) -> Result<IsolationStress, FieldError> {
        let barrier = &self.input.barrier;
        let (rated, from_memory) = self.rated_impulse(barrier)?;
        let factor = match barrier.insulation {
            Insulation::Reinforced => REINFORCED,
            _ => 1.0,
        };
        let altitude = self.altitude(barrier)?;
        let peak_v = barrier.peak().max(barrier.temporary_overvoltage_v.unwrap_or(0.0));
        let preferred = rated.is_some_and(|rated| PREFERRED_V.contains(&rated));
        let impulse_v = rated.map(|rated| impulse_of_class(barrier.insulation, rated));
        // 160 % is from memory.
        let by_rule =
            barrier.insulation == Insulation::Reinforced && rated.is_some_and(|rated| next_preferred(rated).is_none());
        Ok(IsolationStress {
            working_v: barrier.stressed(),
            peak_v,
            rated_impulse_v: rated,
            preferred,
            impulse_v,
            class_peak_v: factor * peak_v,
            // Never less than at 2000 m: the factors below are for test voltages.
            altitude_factor: altitude.map_or(1.0, |found| found.value.max(1.0)),
            altitude,
            impulse_from_memory: from_memory || by_rule,
        })
    }

    /// The rated impulse voltage; nothing where it is to be stated and is not.
    fn rated_impulse(&self, barrier: &Barrier) -> Result<(Option<f64>, bool), FieldError> {
        if barrier.impulse_by == ImpulseBy::Stated {
            return Ok((barrier.rated_impulse_v, false));
        }
        let column = match barrier.overvoltage_category {
            Category::I => 0,
            Category::II => 1,
            Category::III => 2,
            Category::IV => 3,
        };
        let lines = self.lines(&IMPULSE);
        let found = look(&lines, column, barrier.system_v, Between::NextRow).ok_or_else(|| {
            let (at, reach) = ("/barrier/system_v", reach(&lines, column));
            beyond(at, "A supply", &IMPULSE, reach, barrier.system_v, " State the impulse voltage.")
        })?;
        Ok((Some(found.value), found.is_from_memory()))
    }

    fn altitude(&self, barrier: &Barrier) -> Result<Option<Found>, FieldError> {
        let Some(altitude) = barrier.altitude_m else { return Ok(None) };
        let between = match barrier.altitude_between_rows {
            AltitudeRows::Linear => Between::Linear,
            AltitudeRows::NextRow => Between::NextRow,
        };
        let lines = self.lines(&ALTITUDE);
        match look(&lines, 0, altitude, between) {
            Some(found) => Ok(Some(found)),
            None => Err(beyond("/barrier/altitude_m", "An altitude", &ALTITUDE, reach(&lines, 0), altitude, "")),
        }
    }

    /// The clearance of a pollution degree; nothing without an impulse voltage.
    fn clearance(&self, stress: &IsolationStress, degree: u32) -> Result<Option<IsolationClearance>, FieldError> {
        let Some(impulse_v) = stress.impulse_v else { return Ok(None) };
        let place = place(degree);
        let homogeneous = self.input.barrier.field == FieldShape::Homogeneous;
        let (table, column): (&'static Table, _) = if homogeneous { (&HOMOGENEOUS, 0) } else { (&CLEARANCE, place) };
        let lines = self.lines(table);
        let impulse = look(&lines, column, impulse_v, self.distances).ok_or_else(|| {
            let at = match self.input.barrier.impulse_by {
                ImpulseBy::Stated => "/barrier/rated_impulse_v",
                ImpulseBy::Category => "/barrier/system_v",
            };
            beyond(at, "An impulse voltage", table, reach(&lines, column), impulse_v, "")
        })?;
        let peak = self.peak(stress.class_peak_v)?;
        let floor = FLOORS_MM[place];
        let base = impulse.value.max(peak.value).max(floor);
        let by = if impulse.value >= base {
            ClearanceBy::Impulse
        } else if peak.value >= base {
            ClearanceBy::Peak
        } else {
            ClearanceBy::Floor
        };
        let reinforced = self.input.barrier.insulation == Insulation::Reinforced;
        let memory = match by {
            ClearanceBy::Impulse => impulse.is_from_memory() || stress.impulse_from_memory,
            ClearanceBy::Peak => peak.is_from_memory() || reinforced,
            ClearanceBy::Floor => true,
        };
        Ok(Some(IsolationClearance {
            pollution_degree: degree,
            by_impulse_mm: impulse.value,
            by_peak_mm: peak.value,
            by,
            required_mm: base * stress.altitude_factor,
            from_memory: memory || stress.altitude.is_some_and(|found| found.is_from_memory()),
            impulse,
            peak,
        }))
    }

    fn peak(&self, peak_v: f64) -> Result<Found, FieldError> {
        let lines = self.lines(&PEAK);
        look(&lines, 0, peak_v, self.distances).ok_or_else(|| {
            let barrier = &self.input.barrier;
            let temporary = barrier.temporary_overvoltage_v.is_some_and(|temporary| temporary > barrier.peak());
            let at = match (temporary, barrier.recurring_peak_v) {
                (true, _) => "/barrier/temporary_overvoltage_v",
                (_, Some(_)) => "/barrier/recurring_peak_v",
                _ => "/barrier/pack_v",
            };
            beyond(at, "A peak voltage for this class", &PEAK, reach(&lines, 0), peak_v, "")
        })
    }

    fn crossing(
        &self,
        row: usize,
        crossing: &Crossing,
        working_v: f64,
        clearance: Option<IsolationClearance>,
    ) -> Result<IsolationCrossing, FieldError> {
        let barrier = &self.input.barrier;
        let coats = barrier.coating_tested && crossing.printed_wiring;
        let degree = if coats { 1 } else { barrier.pollution_degree };
        let group = group_of(crossing.cti_v, crossing.material_group);
        let basic = self.creepage(row, degree, crossing.printed_wiring, group, working_v)?;
        let times = match barrier.insulation {
            Insulation::Reinforced => 2.0,
            _ => 1.0,
        };
        let by_rib = basic.and_then(|basic| self.rib(crossing, degree, group, working_v, basic.value * times));
        let found = by_rib.or(basic);
        let clearance_required_mm = clearance.map(|clearance| clearance.required_mm);
        let least = clearance_required_mm.unwrap_or(0.0);
        let table = found.map(|found| found.value * times);
        let set_by_clearance = table.is_some_and(|table| least > table);
        let by_clearance_memory = clearance.is_some_and(|clearance| clearance.from_memory);
        let narrowest = groove(degree, crossing.clearance_mm);
        Ok(IsolationCrossing {
            name: crossing.name.clone(),
            pollution_degree: degree,
            group: group.map(MaterialGroup::label),
            clearance_mm: crossing.clearance_mm,
            clearance_required_mm,
            creepage_mm: crossing.creepage_mm,
            creepage_basic_mm: found.map(|found| found.value),
            creepage_required_mm: table.map(|table| table.max(least)),
            creepage_by: match by_rib {
                _ if set_by_clearance => CreepageBy::Clearance,
                Some(_) => CreepageBy::Rib,
                None => CreepageBy::Voltage,
            },
            groove_bridged: crossing.groove_width_mm.is_some_and(|width| width < narrowest),
            clearance_from_memory: by_clearance_memory,
            creepage_from_memory: if set_by_clearance {
                by_clearance_memory
            } else {
                by_rib.is_some() || found.is_some_and(|found| found.is_from_memory())
            },
            creepage: found,
        })
    }

    /// Creepage of basic insulation; nothing where the group must be known and is not.
    fn creepage(
        &self,
        row: usize,
        degree: u32,
        wiring: bool,
        group: Option<MaterialGroup>,
        working_v: f64,
    ) -> Result<Option<Found>, FieldError> {
        let refuse = |key: &str, message: &str, accepted: &str, got: &str| {
            Err(FieldError::contradiction(&format!("/crossings/{row}/{key}"), message, accepted, got))
        };
        let wiring = wiring && degree < 3;
        if wiring && degree == 2 && group == Some(MaterialGroup::IIIb) {
            let message = "The column of printed wiring at pollution degree 2 leaves out group IIIb.";
            return refuse("printed_wiring", message, "no: the general columns count then", "yes");
        }
        if degree == 3 && group == Some(MaterialGroup::IIIb) && working_v > GROUP_IIIB_V {
            let message = "Group IIIb is not used above 630 V at pollution degree 3 (from memory of the standard).";
            return refuse("material_group", message, "group I, II or IIIa, or a working voltage up to 630 V", "IIIb");
        }
        let column = match (degree, wiring, group.map(column_of)) {
            (1, true, _) => creepage::WIRING[0],
            (1, false, _) => creepage::DEGREE_1,
            (_, _, None) => return Ok(None),
            (_, true, Some(_)) => creepage::WIRING[1],
            (2, false, Some(group)) => creepage::DEGREE_2 + group,
            (_, false, Some(group)) => creepage::DEGREE_3 + group,
        };
        let lines = self.lines(&CREEPAGE);
        match look(&lines, column, working_v, self.distances) {
            Some(found) => Ok(Some(found)),
            None if wiring => Err(beyond(
                &format!("/crossings/{row}/printed_wiring"),
                "Printed wiring at a working voltage",
                &CREEPAGE,
                reach(&lines, column),
                working_v,
                " Answer no here: the general columns count then.",
            )),
            None => {
                Err(beyond("/barrier/working_v", "A working voltage", &CREEPAGE, reach(&lines, column), working_v, ""))
            }
        }
    }

    /// The shorter creepage that a rib allows, where it counts.
    fn rib(
        &self,
        crossing: &Crossing,
        degree: u32,
        group: Option<MaterialGroup>,
        working_v: f64,
        without_mm: f64,
    ) -> Option<Found> {
        let (width, height, group) = (crossing.rib_width_mm?, crossing.rib_height_mm?, group?);
        let lines = self.lines(&RIB);
        let column = column_of(group);
        let inside = working_v >= reach(&lines, column)[0];
        let large = width >= RIB_SHARES[0] * without_mm && height >= RIB_SHARES[1] * without_mm;
        if degree == 3 && inside && large { look(&lines, column, working_v, self.distances) } else { None }
    }

    fn open_element(&self, stress: &IsolationStress) -> Result<Option<IsolationOpenElement>, FieldError> {
        let (barrier, open) = (&self.input.barrier, &self.input.open_element);
        let Some(gap_mm) = open.gap_mm else { return Ok(None) };
        let peak = self.peak(barrier.peak())?;
        let floor = FLOORS_MM[place(barrier.pollution_degree)];
        let gap_required_mm = peak.value.max(floor) * stress.altitude_factor;
        let group = group_of(open.cti_v, open.material_group);
        let column = match (barrier.pollution_degree, group.map(column_of)) {
            (1, _) => Some(creepage::DEGREE_1),
            (_, None) => None,
            (2, Some(group)) => Some(creepage::DEGREE_2 + group),
            (_, Some(group)) => Some(creepage::DEGREE_3 + group),
        };
        let lines = self.lines(&CREEPAGE);
        let surface = match column {
            Some(column) => Some(look(&lines, column, stress.working_v, self.distances).ok_or_else(|| {
                let reach = reach(&lines, column);
                beyond("/barrier/working_v", "A working voltage", &CREEPAGE, reach, stress.working_v, "")
            })?),
            None => None,
        };
        Ok(Some(IsolationOpenElement {
            gap_mm,
            gap_required_mm,
            creepage_mm: open.creepage_mm.unwrap_or(gap_mm),
            creepage_required_mm: surface.map(|found| found.value.max(gap_required_mm)),
            from_memory: floor > peak.value
                || peak.is_from_memory()
                || surface.is_some_and(|found| found.is_from_memory())
                || stress.altitude.is_some_and(|found| found.is_from_memory()),
        }))
    }
}

/// The narrowest groove whose contour counts, mm.
pub fn groove(degree: u32, clearance_mm: Option<f64>) -> f64 {
    let full = GROOVES_MM[place(degree)];
    clearance_mm.filter(|mm| *mm < GROOVE_CLEARANCE_MM).map_or(full, |mm| full.min(mm / 3.0))
}

/// The group of a surface, where it is known.
fn group_of(cti_v: Option<f64>, group: MaterialGroup) -> Option<MaterialGroup> {
    cti_v.map(MaterialGroup::of_cti).or_else(|| (group != MaterialGroup::Unknown).then_some(group))
}

/// The place of a group among three columns.
const fn column_of(group: MaterialGroup) -> usize {
    match group {
        MaterialGroup::I => 0,
        MaterialGroup::II => 1,
        MaterialGroup::Unknown | MaterialGroup::IIIa | MaterialGroup::IIIb => 2,
    }
}

/// The place of a pollution degree in a list of three.
fn place(degree: u32) -> usize {
    match degree {
        1 => 0,
        2 => 1,
        _ => 2,
    }
}
