//! # What stands where nothing is typed
//!
//! A design holds what was typed, and the number of the set of start values and rules that it counts from. A set never
//! changes, so that a link means the same for ever; what follows from the pack moves with the pack. A field is one of three:
//! it follows from the pack by a rule, it is open and what rests on it is not judged until it is typed, or it starts from a
//! value that does not scale with a pack.
//!
//! ```text
//! Set 1      the values a document of schema 1 started from; no rules, nothing open
//! Set 2      the same values; rules and open fields as below
//! Rules      judged currents a tenth of the continuous current, the continuous current, the peak; full scale 5/4 of the peak;
//!            judged voltages lowest, nominal, highest, calibrated at the lowest and the highest; upper elements as many as
//!            stand the voltage, also with one of them shorted; shunt and lower divider element the largest usual value
//!            with which the full scale uses at most 0.95 and 0.85 of the converter
//! Usual      shunts 1, 1.5, 2, 2.5, 3, 4, 5, 7.5 in every decade; lower elements E96 (IEC 60063)
//! Source     common practice, no source
//! ```

use std::sync::LazyLock;

use serde_json::{Map, Value, json};

use super::pack::Pack;
use super::section::{Bound, Kind, Origin};
use super::{Design, HEAD_FIELDS, Part};
use crate::calc::barrier::isolation::Isolation;
use crate::calc::cells::balancing::Balancing;
use crate::calc::charge::charge_counting::ChargeCounting;
use crate::calc::current::current_channel::CurrentChannel;
use crate::calc::dc_link::{discharge::Discharge, precharge::Precharge};
use crate::calc::protection::current::ProtectionCurrent;
use crate::calc::protection::race::{Race, largest_share};
use crate::calc::protection::temperature::ProtectionTemperature;
use crate::calc::protection::voltage::ProtectionVoltage;
use crate::calc::protection::{ripple::RippleEffects, trip_curve::TripCurve};
use crate::calc::safety::Safety;
use crate::calc::temperature::thermistor::Thermistor;
use crate::calc::voltage::voltage_channel::VoltageChannel;
use crate::calculation::Calculation;
use crate::field::tree::{at, over, put};
use crate::field::{Field, FieldError, Kind as FieldKind, Start, declared, tree};
use crate::physics::preferred::Series;

/// The newest set.
pub const NEWEST: u32 = 2;
/// The set of documents of schema 1.
pub const FIRST: u32 = 1;

/// The values of the sets. A start value that changes makes a new file and a new set; a new field is added to the last one.
static VALUES: LazyLock<Map<String, Value>> =
    LazyLock::new(|| serde_json::from_str(include_str!("starts-1.json")).unwrap_or_default());

/// What a set knows of a calculation beside its values.
struct Known {
    /// The calculation.
    of: &'static str,
    /// What follows from the pack, in an order in which later rules may use what earlier ones gave.
    rules: &'static [Rule],
    /// What has no value until it is typed.
    open: &'static [Open],
    /// What follows from a fact of the pack, and has no value until it is typed where the pack does not tell that.
    told: &'static [Told],
}

/// A value that follows from the pack and from what stands before it.
#[derive(Debug)]
pub struct Rule {
    /// The value.
    pub to: &'static str,
    /// What it is, from the pack and the values that stand so far.
    pub from: fn(&Pack, &Map<String, Value>) -> Option<Value>,
}

/// A field that follows from a fact of the pack, where the pack tells it.
struct Told {
    at: &'static str,
    from: fn(&Pack) -> Option<f64>,
}

/// A field without a start value.
struct Open {
    at: &'static str,
    /// A choice and the word with which it counts.
    only: Option<(&'static str, &'static str)>,
}

impl Open {
    /// Whether it counts as the choices of a part stand.
    fn counts(&self, part: &Part) -> bool {
        self.only.is_none_or(|(choice, word)| match at(&part.input, choice) {
            Some(Value::String(now)) => now == word,
            Some(Value::Bool(now)) => now.to_string() == word,
            _ => true,
        })
    }
}

const fn open(at: &'static str) -> Open {
    Open { at, only: None }
}

const fn only(at: &'static str, choice: &'static str, word: &'static str) -> Open {
    Open { at, only: Some((choice, word)) }
}

const fn rule(to: &'static str, from: fn(&Pack, &Map<String, Value>) -> Option<Value>) -> Rule {
    Rule { to, from }
}

static KNOWN: &[Known] = &[
    Known {
        of: CurrentChannel::META.slug,
        rules: &[
            rule("/currents_a", |pack, _| {
                levels([pack.continuous_a / 10.0, pack.continuous_a, pack.peak_a].map(three))
            }),
            rule("/load/full_scale_a", |pack, _| Some(json!(three(1.25 * pack.largest_a())))),
            rule("/shunt/resistance_ohm", |_, now| {
                let reach = number(now, "/converter/full_scale_v")? / number(now, "/amplifier/gain")?;
                usual_shunt(0.95 * reach / number(now, "/load/full_scale_a")?).map(|value| json!(value))
            }),
        ],
        open: &[],
        told: &[],
    },
    Known {
        of: VoltageChannel::META.slug,
        rules: &[
            rule("/voltages_v", |pack, _| levels([pack.min_v(), pack.nominal_v(), pack.max_v()])),
            rule("/calibration/low_v", |pack, _| Some(json!(pack.min_v()))),
            rule("/calibration/high_v", |pack, _| Some(json!(pack.max_v()))),
            rule("/upper/count", |pack, now| {
                // In normal use by the derating limit; with one element shorted by the rating, two per cent for unequal shares.
                let rated = pack.max_v() / number(now, "/upper/max_working_v")?;
                let normal = (rated / number(now, "/stress_limit_percent")? * 100.0).ceil();
                let count = normal.max((1.02 * rated).ceil() + 1.0).clamp(1.0, 60.0);
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a whole number from 1 to 60"
                )]
                let count = count as u32;
                Some(json!(count))
            }),
            rule("/lower/resistance_ohm", |pack, now| {
                let reach = number(now, "/converter/full_scale_v")? / number(now, "/amplifier/gain")?;
                let share = 0.85 * reach / pack.max_v();
                let upper = number(now, "/upper/count")? * number(now, "/upper/resistance_ohm")?;
                let most = share / (1.0 - share) * upper / number(now, "/lower/count")?;
                let usual = Series::E96.neighbours(most).0.filter(|_| share < 1.0)?;
                Some(json!(usual.min(1e7)))
            }),
        ],
        open: &[],
        told: &[],
    },
    Known {
        of: Thermistor::META.slug,
        rules: &[
            rule("/electronics_min_degc", |pack, _| Some(json!(pack.ambient_min_degc))),
            rule("/electronics_max_degc", |pack, _| Some(json!(pack.ambient_max_degc))),
            rule("/points_degc", |pack, now| {
                let (low, high) = (number(now, "/min_degc")?, number(now, "/max_degc")?);
                let inside = |value: f64| value.clamp(low, high.max(low));
                levels([pack.ambient_min_degc, 25.0, pack.ambient_max_degc].map(inside))
            }),
        ],
        open: &[],
        told: &[],
    },
    Known {
        of: Isolation::META.slug,
        rules: &[
            rule("/supply/ambient_degc", |pack, _| Some(json!(pack.ambient_max_degc))),
            rule("/common_mode/couplings", nothing_listed),
            rule("/supply/loads", nothing_listed),
            rule("/supply/efficiency_points", nothing_listed),
            rule("/bus/unit_paths", nothing_listed),
            rule("/bus/shared_paths", nothing_listed),
        ],
        open: &[open("/crossings"), only("/barrier/system_v", "/barrier/impulse_by", "category")],
        told: &[],
    },
    Known {
        of: ProtectionVoltage::META.slug,
        rules: &[
            // Without cells there is no threshold of a cell to start with.
            rule("/kind", |pack, _| (!pack.has_cells()).then(|| json!("pack-over-voltage"))),
            rule("/normal_v", |pack, now| {
                let normal = match now.get("kind").and_then(Value::as_str)? {
                    "cell-over-voltage" => pack.cell_max_v,
                    "cell-under-voltage" => pack.cell_min_v,
                    "pack-over-voltage" => pack.max_v(),
                    _ => pack.min_v(),
                };
                Some(json!(normal))
            }),
        ],
        open: &[open("/hazard_v"), open("/error_normal_v"), open("/noise_v"), open("/rate_v_per_s")],
        told: &[],
    },
    Known {
        of: ProtectionCurrent::META.slug,
        rules: &[rule("/normal_a", |pack, now| {
            let charge = now.get("kind").and_then(Value::as_str)? == "over-current-charge";
            Some(json!(if charge { pack.charge_peak_with_ripple_a() } else { pack.peak_with_ripple_a() }))
        })],
        open: &[open("/hazard_a"), open("/error_normal_a"), open("/noise_a"), open("/rate_a_per_s")],
        told: &[],
    },
    Known {
        of: ProtectionTemperature::META.slug,
        rules: &[],
        open: &[
            open("/normal_degc"),
            open("/hazard_degc"),
            open("/error_normal_k"),
            open("/rate_k_per_s"),
            open("/lag_s"),
            open("/cell_power_w"),
            open("/cell_to_sensor_k_per_w"),
        ],
        told: &[],
    },
    Known {
        of: TripCurve::META.slug,
        rules: &[rule("/wire", nothing_listed), rule("/shunt", nothing_listed), rule("/fuse", nothing_listed)],
        open: &[open("/pickup_a"), open("/trip_a2s"), open("/error_percent"), open("/load")],
        told: &[],
    },
    Known {
        of: RippleEffects::META.slug,
        rules: &[rule("/mean_a", |pack, _| Some(json!(pack.continuous_a))), rule("/trips", nothing_listed)],
        open: &[open("/shunt/resistance_ohm"), open("/shunt/inductance_henry"), open("/converter/full_scale_v")],
        told: &[],
    },
    Known {
        of: Race::META.slug,
        rules: &[rule("/before_a", |pack, now| {
            // Of several strings that of the one which carries most.
            let [count, spread] = ["/strings/count", "/strings/spread_percent"].map(|at| number(now, at));
            Some(json!(pack.continuous_a * largest_share(count.unwrap_or(1.0), spread.unwrap_or(0.0))))
        })],
        open: &[
            open("/source/external_resistance_ohm"),
            open("/threshold_a"),
            open("/stages"),
            open("/fuse/prearc_a2s"),
        ],
        told: &[],
    },
    Known {
        of: Precharge::META.slug,
        rules: &[
            rule("/path/resistance_ohm", |pack, _| pack.resistance_ohm().map(|ohm| json!(ohm))),
            rule("/path/inductance_henry", |pack, _| Some(json!(pack.loop_inductance_henry))),
            rule("/resistor/ambient_degc", |pack, _| Some(json!(pack.ambient_max_degc))),
        ],
        open: &[
            open("/capacitance_farad"),
            open("/resistance_ohm"),
            only("/load/resistance_ohm", "/load/kind", "resistive"),
            only("/load/current_a", "/load/kind", "constant-current"),
            only("/load/power_w", "/load/kind", "constant-power"),
        ],
        told: &[Told { at: "/path/resistance_ohm", from: Pack::resistance_ohm }],
    },
    Known {
        of: Discharge::META.slug,
        rules: &[],
        open: &[
            open("/capacitance_farad"),
            only("/active/resistance_ohm", "/active/kind", "resistor"),
            only("/active/current_a", "/active/kind", "constant-current"),
            only("/active/power_w", "/active/kind", "constant-power"),
            only("/passive/resistance_ohm", "/passive/fitted", "true"),
            only("/feed/current_a", "/feed/kind", "constant-current"),
            only("/feed/power_w", "/feed/kind", "constant-power"),
        ],
        told: &[],
    },
    Known {
        of: Balancing::META.slug,
        rules: &[
            rule("/cell_v", |pack, _| Some(json!(pack.cell_max_v))),
            rule("/limits/ambient_degc", |pack, _| Some(json!(pack.ambient_max_degc))),
        ],
        open: &[open("/bleed_ohm"), open("/channels_on"), open("/imbalance_percent")],
        told: &[],
    },
    Known {
        of: ChargeCounting::META.slug,
        rules: &[
            rule("/anchor/curve", nothing_listed),
            rule("/capacity/current_a", |pack, _| Some(json!(pack.continuous_a))),
            rule("/resistance/step_a", |pack, _| Some(json!(pack.continuous_a))),
        ],
        open: &[
            open("/counter/offset_a"),
            open("/counter/gain_percent"),
            open("/counter/noise_a"),
            open("/counter/sample_s"),
        ],
        told: &[],
    },
    Known {
        of: Safety::META.slug,
        rules: &[rule("/goals", nothing_listed), rule("/faults", nothing_listed), rule("/checks", nothing_listed)],
        open: &[],
        told: &[],
    },
];

#[expect(clippy::unnecessary_wraps, reason = "the signature of a rule")]
fn nothing_listed(_: &Pack, _: &Map<String, Value>) -> Option<Value> {
    Some(json!([]))
}

fn number(now: &Map<String, Value>, pointer: &str) -> Option<f64> {
    at(now, pointer)?.as_f64()
}

/// Values that differ, as a list; nothing where none is positive.
fn levels(values: [f64; 3]) -> Option<Value> {
    let mut list: Vec<f64> = Vec::new();
    for value in values {
        if !list.contains(&value) {
            list.push(value);
        }
    }
    list.sort_by(f64::total_cmp);
    (!list.is_empty()).then(|| json!(list))
}

/// Three significant digits: what a rule gives is a proposal, not a result.
fn three(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

/// The largest usual value not above `most`.
fn usual_shunt(most: f64) -> Option<f64> {
    const USUAL: [&str; 8] = ["1", "1.5", "2", "2.5", "3", "4", "5", "7.5"];
    let decades = (-6..=0).flat_map(|decade: i32| USUAL.map(|digits| format!("{digits}e{decade}")));
    let values = decades.filter_map(|text| text.parse::<f64>().ok()).filter(|value| *value <= 1.0);
    values.take_while(|value| *value <= most * (1.0 + 1e-12)).last()
}

fn known(set: u32, kind: &Kind) -> Option<&'static Known> {
    KNOWN.iter().find(|known| set > FIRST && known.of == kind.entry.meta.slug)
}

/// What the head of a design is where nothing is typed.
pub fn head() -> Map<String, Value> {
    values("head", &super::head_start())
}

fn values(of: &str, newest: &Map<String, Value>) -> Map<String, Value> {
    // A field that is younger than the set starts as it does today.
    VALUES.get(of).and_then(Value::as_object).map_or_else(|| newest.clone(), |set| over(newest, set))
}

/// What a part starts from: a value that only a page of its own shows is not known here.
fn known_values(kind: &Kind) -> Map<String, Value> {
    let mut start = values(kind.entry.meta.slug, kind.entry.start());
    tree::walk(kind.entry.fields, &mut |pointer, field| {
        if matches!(field.kind, FieldKind::Number { start: Start::Shown(_), .. }) {
            tree::take(&mut start, pointer);
        }
    });
    start
}

/// The complete values of a part: what was typed, over what follows from the pack, over what it starts from.
pub fn complete(set: u32, kind: &Kind, pack: &Pack, typed: &Map<String, Value>) -> Map<String, Value> {
    let mut now = over(&known_values(kind), typed);
    for rule in known(set, kind).map_or(&[][..], |known| known.rules) {
        if at(typed, rule.to).is_none()
            && let Some(value) = (rule.from)(pack, &now)
        {
            put(&mut now, rule.to, value);
        }
    }
    now
}

/// The rules of a part that count, because nobody typed what they give and nothing hands it down.
pub fn following(set: u32, part: &Part) -> Vec<&'static Rule> {
    let handed: Vec<&str> = part.handed_down().collect();
    let rules = known(set, part.kind).map_or(&[][..], |known| known.rules).iter();
    rules.filter(|rule| at(&part.typed, rule.to).is_none() && !handed.contains(&rule.to)).collect()
}

/// Whether a value of a part follows from the pack where it is not typed.
pub fn follows(design: &Design, part: &Part, pointer: &str) -> bool {
    let gives = |rule: &Rule| rule.to == pointer && (rule.from)(&design.head.pack, &part.input).is_some();
    known(design.starts, part.kind).is_some_and(|known| known.rules.iter().any(gives))
}

/// An open field that nobody has typed: its place among those of its calculation, and its pointer.
pub type NotGiven = (usize, &'static str);

/// The open fields of a part that nobody has typed and nothing hands down.
pub fn not_given(set: u32, part: &Part) -> Vec<NotGiven> {
    let Some(known) = known(set, part.kind) else { return Vec::new() };
    let handed: Vec<&str> = part.handed_down().collect();
    let open = known.open.iter().enumerate().filter(|(_, one)| one.counts(part)).map(|(place, one)| (place, one.at));
    open.filter(|(_, pointer)| !handed.contains(pointer) && at(&part.typed, pointer).is_none()).collect()
}

/// What a part must be told before it is asked: its open fields that nobody typed, facts that the pack does not tell, and
/// those of parts beside it.
pub fn waits_for(design: &Design, part: &Part) -> Vec<NotGiven> {
    let mut waits = not_given(design.starts, part);
    let pack = &design.head.pack;
    let known = KNOWN.iter().find(|known| known.of == part.kind.entry.meta.slug);
    let told = known.map_or(&[][..], |known| known.told).iter();
    let own = told.filter(|one| (one.from)(pack).is_none() && at(&part.typed, one.at).is_none()).map(|one| one.at);
    let needed = |to: &str| declared(part.entry().fields, to).is_some_and(|field| !field.may_be_unknown());
    let handed = part.kind.bound.iter().filter_map(|bound| match bound.from {
        Origin::Pack(_, of) if of(pack).is_none() && needed(bound.to) => Some(bound.to),
        Origin::Beside(section, from, _) => {
            let open = |other: &Part| not_given(design.starts, other).iter().any(|(_, at)| *at == from);
            design.beside(part, section).any(open).then_some(bound.to)
        }
        _ => None,
    });
    let from = known.map_or(0, |known| known.open.len());
    waits.extend(own.chain(handed).enumerate().map(|(place, pointer)| (from + place, pointer)));
    waits
}

/// Whether what a part waits for is told by the part or by the pack, and not by another part.
pub fn is_told_here(part: &Part, pointer: &str) -> bool {
    let beside = |bound: &Bound| bound.to == pointer && matches!(bound.from, Origin::Beside(..));
    !part.kind.bound.iter().any(beside)
}

/// What nothing can be judged without.
const OPEN_OF_THE_PACK: [&str; 17] = [
    "/pack/cells_in_series",
    "/pack/cell_max_v",
    "/pack/cell_nominal_v",
    "/pack/cell_min_v",
    "/pack/cell_capacity_ah",
    "/pack/cell_resistance_ohm",
    "/pack/busbars_ohm",
    "/pack/max_v",
    "/pack/nominal_v",
    "/pack/min_v",
    "/pack/loop_inductance_henry",
    "/pack/ripple_current_a",
    "/pack/continuous_a",
    "/pack/peak_a",
    "/pack/peak_duration_s",
    "/pack/ambient_min_degc",
    "/pack/ambient_max_degc",
];

/// The open values of the pack. The first set leaves none open, but has no voltages for a source without cells either.
pub fn open_of_the_pack(set: u32, pack: &Pack) -> Vec<&'static str> {
    let no_start = |pointer: &str| declared(HEAD_FIELDS, pointer).is_some_and(Field::may_be_unknown);
    let open = OPEN_OF_THE_PACK.into_iter().filter(|pointer| set > FIRST || no_start(pointer));
    open.filter(|pointer| !pack.idle().contains(pointer)).collect()
}

/// The open values of the pack that nobody typed, each as a fault.
pub fn pack_not_given(design: &Design) -> Vec<FieldError> {
    let open = open_of_the_pack(design.starts, &design.head.pack);
    let missing = open.iter().filter(|pointer| at(&design.typed, pointer).is_none());
    let fault = |pointer: &&str| {
        let field = declared(HEAD_FIELDS, pointer)?;
        let accepted = field.accepted();
        let message = format!("{} is not given: enter {accepted}. Nothing is judged without it.", field.label);
        Some(FieldError { field: (*pointer).into(), code: "missing".into(), message, accepted, got: "nothing".into() })
    };
    missing.filter_map(fault).collect()
}

/// Whether a field of a part would be open with another choice, and counts nowhere as its choices stand.
pub fn is_unused(design: &Design, part: &Part, pointer: &str) -> bool {
    let unused = |one: &Open| one.at == pointer && !one.counts(part);
    known(design.starts, part.kind).is_some_and(|known| known.open.iter().any(unused))
}

/// Whether a field of a part is open, whatever was typed.
pub fn is_open(design: &Design, part: &Part, pointer: &str) -> bool {
    let asked = |known: &Known| known.open.iter().any(|one| one.at == pointer);
    known(design.starts, part.kind).is_some_and(asked)
        || waits_for(design, part).iter().any(|(_, other)| *other == pointer)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::section::SECTIONS;
    use crate::field::tree;

    fn kinds() -> impl Iterator<Item = &'static Kind> {
        SECTIONS.iter().flat_map(|section| section.kinds)
    }

    /// Every link rests on these values: a changed start value is a new set.
    #[test]
    fn the_set_has_every_field_of_every_calculation_as_it_starts() {
        for kind in kinds() {
            let (slug, start) = (kind.entry.meta.slug, kind.entry.start());
            let set = VALUES.get(slug).and_then(Value::as_object).unwrap_or_else(|| panic!("{slug}"));
            tree::walk(kind.entry.fields, &mut |pointer, _| {
                let text =
                    |map| at(map, pointer).map(|value| value.as_f64().map_or(value.to_string(), |x| x.to_string()));
                assert_eq!(text(set), text(start), "{slug} {pointer}");
            });
        }
        assert_eq!(
            Value::Object(head()).to_string().len(),
            Value::Object(crate::design::head_start()).to_string().len()
        );
    }

    #[test]
    fn rules_and_open_fields_are_fields() {
        for known in KNOWN {
            let kind = kinds().find(|kind| kind.entry.meta.slug == known.of).unwrap_or_else(|| panic!("{}", known.of));
            let pointers = known.rules.iter().map(|rule| rule.to).chain(known.open.iter().map(|one| one.at));
            let pointers = pointers.chain(known.told.iter().map(|one| one.at));
            for pointer in pointers.chain(known.open.iter().filter_map(|one| one.only).map(|(choice, _)| choice)) {
                assert!(declared(kind.entry.fields, pointer).is_some(), "{} {pointer}", known.of);
            }
        }
    }

    /// By hand: 0.95 · 50 mV / 750 A = 63.3 µΩ; a pack of 403.2 V on elements of 680 kΩ.
    #[test]
    fn what_scales_with_a_pack_follows_from_it() {
        let mut pack = crate::field::start::<Pack>();
        (pack.cells_in_series, pack.peak_a, pack.continuous_a) = (96, 600.0, 300.0);
        let complete = |slug: &str| {
            let kind = kinds().find(|kind| kind.entry.meta.slug == slug).expect("a kind");
            complete(NEWEST, kind, &pack, &Map::new())
        };
        let current = complete("current-channel");
        assert_eq!(at(&current, "/load/full_scale_a"), Some(&json!(750.0)));
        assert_eq!(at(&current, "/shunt/resistance_ohm"), Some(&json!(5e-5)));
        assert_eq!(at(&current, "/currents_a"), Some(&json!([30.0, 300.0, 600.0])));
        let voltage = complete("voltage-channel");
        // 403.2 V on elements of 200 V, one of them shorted: three that stand it, and one more.
        assert_eq!(at(&voltage, "/upper/count"), Some(&json!(4)));
        // 0.85 · 2 V / 403.2 V = 0.42163 %, of 2.72 MΩ: 11.517 kΩ; E96 below it: 11.5 kΩ.
        assert_eq!(at(&voltage, "/lower/resistance_ohm"), Some(&json!(11_500.0)));
    }

    #[test]
    fn the_largest_usual_shunt_is_taken() {
        assert_eq!(usual_shunt(63.3e-6), Some(50e-6));
        assert_eq!(usual_shunt(1e-3), Some(1e-3));
        assert_eq!(usual_shunt(5.0), Some(1.0));
        assert_eq!(usual_shunt(0.0), None);
    }
}
