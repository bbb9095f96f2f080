//! Inputs that are each in range and contradict each other.

use super::distances::distances;
use super::input::{IsolationInput, MaterialGroup};
use super::measured;
use super::tables::{Line, TABLES};
use crate::field::FieldError;
use crate::quantity::{celsius, millimetre, volt, watt};

pub(super) fn contradictions(input: &IsolationInput) -> Vec<FieldError> {
    let mut faults = barrier(input);
    if faults.is_empty() {
        faults.extend(distances(input).err().unwrap_or_default());
    }
    faults.extend(ratings(input));
    let supply = &input.supply;
    if let Some((from, to)) = supply.derate_from_degc.zip(supply.zero_power_degc).filter(|(from, to)| from >= to) {
        faults.push(FieldError::contradiction(
            "/supply/zero_power_degc",
            "The derating line ends before it begins.",
            format!("above {}", celsius(from)),
            celsius(to),
        ));
    }
    let mut powers: Vec<f64> = supply.efficiency_points.iter().map(|point| point.output_w).collect();
    powers.sort_by(f64::total_cmp);
    if let Some(twice) = powers.windows(2).find(|pair| pair[0] >= pair[1]) {
        faults.push(FieldError::contradiction(
            "/supply/efficiency_points",
            "Two points of the efficiency have the same output power.",
            "one point for each power",
            watt(twice[0]),
        ));
    }
    faults.extend(measured::contradictions(&input.two_measurement));
    faults
}

/// Ratings of one isolator in an order that none has: a direct working voltage above the recurring peak is that of a minute.
fn ratings(input: &IsolationInput) -> Vec<FieldError> {
    let given = &input.isolator;
    let Some(peak) = given.recurring_peak_v else { return Vec::new() };
    let mut faults = Vec::new();
    if let Some(working) = given.working_dc_v.filter(|working| *working > peak) {
        faults.push(FieldError::contradiction(
            "/isolator/working_dc_v",
            "The working voltage lies above the recurring peak: it is perhaps the voltage of one minute.",
            format!("at most {}", volt(peak)),
            volt(working),
        ));
    }
    if let Some(lasting) = given.temporary_v.filter(|lasting| *lasting < peak) {
        faults.push(FieldError::contradiction(
            "/isolator/temporary_v",
            "The temporary overvoltage lies below the recurring peak.",
            format!("at least {}", volt(peak)),
            volt(lasting),
        ));
    }
    faults
}

/// What contradicts itself among barrier, crossings and typed tables.
fn barrier(input: &IsolationInput) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let barrier = &input.barrier;
    let working = barrier.working();
    if let Some(peak) = barrier.recurring_peak_v.filter(|peak| *peak < working) {
        faults.push(FieldError::contradiction(
            "/barrier/recurring_peak_v",
            "The recurring peak lies below the working voltage: it is the highest voltage with ripple and ringing.",
            format!("at least {}", volt(working)),
            volt(peak),
        ));
    }
    if let Some(lasting) = barrier.temporary_overvoltage_v.filter(|lasting| *lasting < working) {
        faults.push(FieldError::contradiction(
            "/barrier/temporary_overvoltage_v",
            "The temporary overvoltage lies below the working voltage.",
            format!("at least {}", volt(working)),
            volt(lasting),
        ));
    }
    let both = |faults: &mut Vec<FieldError>, at: String, cti: Option<f64>, group: MaterialGroup| {
        if let (Some(cti), true) = (cti, group != MaterialGroup::Unknown) {
            let of = MaterialGroup::of_cti(cti);
            let message = format!("A tracking index and a group are given; {} is group {}.", volt(cti), of.label());
            faults.push(FieldError::contradiction(&at, message, "one of the two", group.label()));
        }
    };
    for (row, crossing) in input.crossings.iter().enumerate() {
        both(&mut faults, format!("/crossings/{row}/material_group"), crossing.cti_v, crossing.material_group);
        if let Some((air, surface)) = crossing.clearance_mm.zip(crossing.creepage_mm).filter(|(air, way)| way < air) {
            let [air, surface] = [air, surface].map(millimetre);
            faults.push(FieldError::contradiction(
                &format!("/crossings/{row}/creepage_mm"),
                "The way along the surface is shorter than through air.",
                format!("at least {air}"),
                surface,
            ));
        }
    }
    let open = &input.open_element;
    both(&mut faults, "/open_element/material_group".into(), open.cti_v, open.material_group);
    for table in TABLES {
        let own = input.tables.lines(table.own);
        let rises = |pair: &[Line]| {
            let pairs = pair[0].values.iter().zip(&pair[1].values);
            pair[0].at < pair[1].at && pairs.fold(true, |all, (low, high)| all && !(low > high))
        };
        if let Some(row) = own.windows(2).position(|pair| !rises(pair)) {
            faults.push(FieldError::contradiction(
                &format!("{}/{}", table.own, row + 1),
                format!("The rows of \u{201c}{}\u{201d} do not rise.", table.title),
                "rows in ascending order whose values do not fall",
                format!("row {}", row + 2),
            ));
        }
    }
    faults
}
