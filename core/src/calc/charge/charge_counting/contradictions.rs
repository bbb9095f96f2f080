//! What contradicts itself.

use super::input::{CapacityMethod, ChargeInput, UsageKind};
use crate::constant::DAY_H;
use crate::field::FieldError;
use crate::quantity::{Unit, ampere_hour, hour, percent, say, second, volt};

pub(super) fn contradictions(input: &ChargeInput) -> Vec<FieldError> {
    let mut faults = curve(input);
    faults.extend(idle(input));
    faults.extend(usage(input));
    faults.extend(course(input));
    faults.extend(counting(input));
    let anchor = &input.anchor;
    faults.extend(FieldError::below(
        "/anchor/place_max_percent",
        "The highest place of an anchor lies below the lowest.",
        Some(anchor.place_max_percent),
        anchor.place_min_percent,
        Unit::Percent,
    ));
    let given = &input.capacity;
    let rests = matches!(given.method, CapacityMethod::TwoRests | CapacityMethod::Typed);
    if let Some(both) = given.first_percent.zip(given.second_percent).filter(|(one, other)| rests && one == other) {
        let (message, accepted) = ("Between two equal states of charge no charge flows.", "another one than the first");
        faults.push(FieldError::contradiction("/capacity/second_percent", message, accepted, percent(both.1)));
    }
    if given.method == CapacityMethod::FullAndRest
        && let Some(full) = given.first_percent.filter(|first| *first >= 100.0)
    {
        let (message, accepted) = ("Between full and full no charge flows.", "below 100 %");
        faults.push(FieldError::contradiction("/capacity/first_percent", message, accepted, percent(full)));
    }
    faults
}

fn curve(input: &ChargeInput) -> Vec<FieldError> {
    let points = &input.anchor.curve;
    if points.len() == 1 {
        let (message, accepted) = ("One point makes no curve.", "no point, or two and more");
        return vec![FieldError::contradiction("/anchor/curve", message, accepted, 1)];
    }
    let mut faults = Vec::new();
    for (row, pair) in points.windows(2).enumerate() {
        if pair[1].soc_percent <= pair[0].soc_percent {
            faults.push(FieldError::contradiction(
                &format!("/anchor/curve/{}/soc_percent", row + 1),
                "The states of charge must rise from row to row.",
                format!("above {}", percent(pair[0].soc_percent)),
                percent(pair[1].soc_percent),
            ));
        }
        if pair[1].ocv_v <= pair[0].ocv_v {
            faults.push(FieldError::contradiction(
                &format!("/anchor/curve/{}/ocv_v", row + 1),
                "The open-circuit voltage must rise with the state of charge: level, it tells nothing.",
                format!("above {}", volt(pair[0].ocv_v)),
                volt(pair[1].ocv_v),
            ));
        }
    }
    faults
}

/// A cycle flows both ways.
fn idle(input: &ChargeInput) -> Vec<FieldError> {
    let with = &input.usage;
    if with.kind != UsageKind::Cycles || with.cycles_per_day <= 0.0 {
        return Vec::new();
    }
    let both = [("/usage/discharge_a", with.discharge_a), ("/usage/charge_a", with.charge_a)];
    let none = both.into_iter().filter(|(_, current)| *current == Some(0.0));
    let told = |(at, _)| FieldError::contradiction(at, "A cycle flows both ways.", "above 0 A", "0 A");
    none.map(told).collect()
}

/// A cycle must fit into the hours in which something is counted.
fn usage(input: &ChargeInput) -> Option<FieldError> {
    let with = &input.usage;
    let (discharge, charge, swing) = (with.discharge_a?, with.charge_a?, with.swing_percent?);
    if with.kind != UsageKind::Cycles || with.cycles_per_day <= 0.0 || discharge <= 0.0 || charge <= 0.0 {
        return None;
    }
    let charge_ah = swing / 100.0 * input.battery.capacity_ah;
    let needed = charge_ah * (1.0 / discharge + 1.0 / charge) * with.cycles_per_day.max(1.0);
    (needed > with.awake_h * (1.0 + 1e-9)).then(|| {
        FieldError::contradiction(
            "/usage/awake_h",
            "The cycles of a day take longer than it is awake.",
            format!("at or above {}", hour(needed)),
            hour(with.awake_h),
        )
    })
}

/// A course must come, fit into its part of the days, and move no more than the battery holds.
fn course(input: &ChargeInput) -> Vec<FieldError> {
    let with = &input.usage;
    let mut faults = Vec::new();
    if with.kind != UsageKind::Profile {
        return faults;
    }
    if with.cycles_per_day <= 0.0 {
        let message = "A course that never comes is none.";
        faults.push(FieldError::contradiction("/usage/cycles_per_day", message, "above 0", "0"));
    }
    let needed = with.course_h() * with.cycles_per_day;
    if needed > DAY_H * (1.0 + 1e-9) {
        faults.push(FieldError::contradiction(
            "/usage/profile",
            "The course takes longer than its part of the days.",
            format!("rows of {} in all, or fewer courses a day", hour(DAY_H / with.cycles_per_day)),
            hour(with.course_h()),
        ));
    } else if needed > with.awake_h * (1.0 + 1e-9) {
        faults.push(FieldError::contradiction(
            "/usage/awake_h",
            "The courses of a day take longer than it is awake.",
            format!("at or above {}", hour(needed)),
            hour(with.awake_h),
        ));
    }
    let ([_, span], holds) = (with.course_ah(), input.battery.capacity_ah);
    if span > holds * (1.0 + 1e-9) {
        faults.push(FieldError::contradiction(
            "/usage/profile",
            "The course moves more charge one way than the battery holds.",
            format!("at most {}", ampere_hour(holds)),
            ampere_hour(span),
        ));
    }
    faults
}

fn counting(input: &ChargeInput) -> Vec<FieldError> {
    let (counter, counting) = (&input.counter, &input.counting);
    let busy = counter.busy_s();
    let mut faults = Vec::new();
    if let Some(period) = counting.period_s.filter(|period| *period < busy * (1.0 - 1e-9)) {
        faults.push(FieldError::contradiction(
            "/counting/period_s",
            "Readings come faster than their samples.",
            format!("at or above {}", second(busy)),
            second(period),
        ));
    }
    faults.extend(FieldError::above(
        "/counting/aperture_s",
        "A reading sees more than its interval.",
        counting.aperture_s,
        counting.interval_s(counter).max(busy) * (1.0 + 1e-9),
        Unit::Second,
    ));
    if counting.period_s.is_none() && busy > 1e5 {
        faults.push(FieldError::contradiction(
            "/counter/sample_s",
            "The samples of one reading take more than a day.",
            format!("at or below {}", say(1e5 / counter.samples(), Unit::Second)),
            second(counter.sample_s),
        ));
    }
    faults
}
