//! What an engineer must know about a trip curve.

use super::{TripCurveInput, TripCurveOutput, limits};
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &TripCurveInput, result: &TripCurveOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(time) = result.load.trips_after_s {
        findings.push(
            Finding::new(
                Severity::Fail,
                "protection.crosses-load-profile",
                format!(
                    "With the reading {} high the load profile trips after {}.{}",
                    say(input.error_percent, Unit::Percent),
                    say(time, Unit::Second),
                    if result.load.net_a2s > 0.0 && input.repeats {
                        format!(" Every round adds up {}.", say(result.load.net_a2s, Unit::AmpereSquaredSecond))
                    } else {
                        format!(
                            " Its largest sum is {}, it trips at {}.",
                            say(result.load.peak_a2s, Unit::AmpereSquaredSecond),
                            say(input.trip_a2s, Unit::AmpereSquaredSecond)
                        )
                    }
                ),
            )
            .at("/load")
            .against(result.load.peak_a2s, input.trip_a2s),
        );
    }
    for (id, label, _) in limits(input) {
        let own = || result.limits.iter().filter(|point| point.id == id);
        let never = own().find(|point| point.latest_s.is_none());
        let late = own()
            .filter(|point| point.used_percent.is_some_and(|used| used > 100.0))
            .max_by(|a, b| a.used_percent.unwrap_or(0.0).total_cmp(&b.used_percent.unwrap_or(0.0)));
        let name = in_sentence(label);
        if let Some(point) = never {
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "protection.crosses-limit",
                    format!(
                        "The {name} takes {} for {}, but with the reading low nothing up to {} ever trips.",
                        say(point.current_a, Unit::Ampere),
                        say(point.limit_s, Unit::Second),
                        say(result.pickup_high_a, Unit::Ampere)
                    ),
                )
                .at(&format!("/{id}")),
            );
        }
        if let Some(point) = late {
            let latest = point.latest_s.unwrap_or(0.0);
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "protection.crosses-limit",
                    format!(
                        "The {name} takes {} for {}; with the reading low it is off after {}.",
                        say(point.current_a, Unit::Ampere),
                        say(point.limit_s, Unit::Second),
                        say(latest, Unit::Second)
                    ),
                )
                .at(&format!("/{id}"))
                .against(latest, point.limit_s),
            );
        }
    }
    let (low, high) = (say(result.pickup_low_a, Unit::Ampere), say(result.pickup_high_a, Unit::Ampere));
    // Without an error there is nothing between.
    let between = if low == high { String::new() } else { format!(", between that and {high} it may") };
    findings.push(
        Finding::new(
            Severity::Note,
            "protection.never-trips-below",
            format!("Below {low} it never trips{between}. What heats there for long needs another limit."),
        )
        .at("/pickup_a"),
    );
    findings
}
