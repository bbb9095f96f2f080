//! What two parts of a design tell differently, by hand.

use std::sync::LazyLock;

use sensewright_core::calculation::Depth;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess_to};
use sensewright_core::design::facts::told_once;
use sensewright_core::design::section::{BARRIERS, DISCHARGES, RACES};
use sensewright_core::field::tree;
use sensewright_core::judge::Verdict;
use sensewright_core::report::Finding;
use sensewright_core::work::{Refused, Work};
use serde_json::{Value, json};

fn assess(design: &Design) -> Result<Assessed, Refused> {
    assess_to(design, Depth::Requirements, Work::FREE)
}

/// What the parts of a design tell twice, or alone.
fn findings(design: &Design) -> Vec<Finding> {
    let mut found = assess(design).expect("it stands").told_twice;
    found.extend(told_once(design));
    found
}

/// A demo with some of its values replaced.
fn changed(changes: &[(&str, &str, Value)]) -> Design {
    let mut design = find("funicular-summit-buffer").expect("a demo").design.clone();
    for (key, pointer, value) in changes {
        let part = design.parts.iter_mut().find(|part| part.key() == *key).expect("a part");
        tree::put(&mut part.input, pointer, value.clone());
    }
    design
}

/// The codes and places that it tells then, beyond those that it tells by itself.
fn codes(changes: &[(&str, &str, Value)]) -> Vec<(String, String)> {
    of(&changed(changes)).into_iter().filter(|one| !BEFORE.contains(one)).collect()
}

fn of(design: &Design) -> Vec<(String, String)> {
    findings(design).into_iter().filter_map(|one| Some((one.code, one.field?))).collect()
}

static BEFORE: LazyLock<Vec<(String, String)>> =
    LazyLock::new(|| of(&find("funicular-summit-buffer").expect("a demo").design));

#[test]
fn each_fact_that_two_parts_tell_differently_is_told() {
    let one = |key: &str, pointer: &str, value: Value, code: &str, place: &str| {
        let told = codes(&[(key, pointer, value)]);
        assert_eq!(told, [(code.to_owned(), place.to_owned())], "{key} {pointer}");
    };
    one("current.1", "/converter/data_rate_hz", json!(20.0), "design.samples-too-fast", "/protection/1/sample_rate_hz");
    one("discharge.1", "/feed/back_emf_v", json!(2000.0), "design.link-above-start", "/precharge/0/start_v");
    one(
        "balancing.1",
        "/limits/ambient_degc",
        json!(5.0),
        "design.ambient-below-pack",
        "/balancing/0/limits/ambient_degc",
    );
    one("race.1", "/source/link_farad", json!(1e-4), "design.link-differs", "/race/0/source/link_farad");
    let loss = "/cell/heat_flow_w";
    one("temperatures.1", loss, json!(0.5), "design.cell-loss-beyond", "/temperatures/0/cell/heat_flow_w");
    // 185 mm² of copper take (143.08 · 185)² = 7.007·10⁸ A²s; the shunt of the race 1.47·10⁷.
    let takes = "design.takes-less-elsewhere";
    one("protection.2", "/wire_a2s", json!(7.02e8), takes, "/protection/1/wire_a2s");
    let place = (takes.to_owned(), "/protection/1/shunt_a2s".to_owned());
    assert_eq!(codes(&[("protection.2", "/shunt_a2s", json!(1.48e7))]), vec![place; 2], "the race and its own channel");
    assert!(
        codes(&[("protection.2", "/wire_a2s", json!(7.0e8)), ("protection.2", "/shunt_a2s", json!(1.47e7))]).is_empty()
    );
    one("protection.2", "/noise_a", json!(0.0), "design.quieter-than-channel", "/protection/1/noise_a");
    // 15 kΩ and 10 µF: 0.15 s, a 17th of the time-out of 2.5 s.
    one("voltage.1", "/following/filter_farad", json!(1e-5), "design.read-late", "/precharge/0/max_time_s");
    // Twice as much on the link of the race as is pre-charged, and discharged.
    let differs = |place: &str| ("design.link-differs".to_owned(), place.to_owned());
    let both = [differs("/precharge/0/capacitance_farad"), differs("/discharge/0/capacitance_farad")];
    assert_eq!(codes(&[("race.1", "/source/link_farad", json!(9.4e-3))]), both);
    // The threshold and the element, 14 J/K · (150 − 45) K/0.1 mΩ, take 1.47·10⁷ A²s.
    let shunt = codes(&[("race.1", "/shunt_pulse_a2s", json!(1.5e7))]);
    assert_eq!(shunt, vec![(takes.to_owned(), "/race/0/shunt_pulse_a2s".to_owned()); 2]);
    // (143.08 · 100)² = 2.047·10⁸ A²s.
    one("protection.2", "/wire_a2s", json!(2.04e8), takes, "/race/0/wiring/area_mm2");
    let more = "design.more-than-continuous";
    one("charge_counting.1", "/usage/discharge_a", json!(150.0), more, "/pack/continuous_a");
    // A peak of 90 s may be larger, and what comes in two neighbouring rows lasts as long as both.
    let course = |rows: &[(f64, f64)]| {
        let rows: Vec<Value> =
            rows.iter().map(|(duration, current)| json!({"duration_s": duration, "current_a": current})).collect();
        let kind = ("charge_counting.1", "/usage/kind", json!("profile"));
        codes(&[kind, ("charge_counting.1", "/usage/profile", json!(rows))])
    };
    let two = |second: f64| course(&[(second, 150.0), (46.0, -160.0), (600.0, 0.0)]);
    assert!(two(44.0).is_empty());
    assert_eq!(two(45.0), [(more.to_owned(), "/pack/continuous_a".to_owned())]);
    // Peaks of 89 s, each second of them allowed, again and again. By hand: twice 89 · 280² A²s less one peak of 90 · 280² A²s
    // are 6.90 MA²s in 89 s + 89 s + pause − 90 s: 140.0 A with a pause of 264 s, less with a longer one.
    let twice = |pause: f64| course(&[(89.0, 280.0), (pause, 0.0), (89.0, 280.0), (9e3, 0.0)]);
    assert_eq!(twice(260.0), [(more.to_owned(), "/pack/continuous_a".to_owned())]);
    assert!(twice(268.0).is_empty());
    one("charge_counting.1", "/usage/standby_a", json!(-141.0), more, "/pack/continuous_a");
    let quieter = "design.quieter-than-channel";
    one("temperatures.1", "/converter/noise_v", json!(1e-3), quieter, "/protection/2/noise_k");
    let under = |sag: Value, ampere: Value| {
        let values = [("/kind", json!("cell-under-voltage")), ("/normal_v", json!(2.8)), ("/hazard_v", json!(2.5))];
        let sag = [("/sag_resistance_ohm", sag), ("/sag_current_a", ampere)];
        let values: Vec<_> = values.into_iter().chain(sag).map(|(at, value)| ("protection.1", at, value)).collect();
        codes(&values).into_iter().map(|(_, place)| place).collect::<Vec<_>>()
    };
    // The pack has 0.18 mΩ a cell and gives up to 280 A.
    assert_eq!(under(json!(1.8e-4), json!(280.0)), [""; 0]);
    assert_eq!(under(json!(1.7e-4), json!(280.0)), ["/protection/0/sag_resistance_ohm"]);
    assert_eq!(under(json!(1.8e-4), json!(270.0)), ["/protection/0/sag_current_a"]);
    assert!(codes(&[("precharge.1", "/start_v", json!(5.0))]).is_empty());
    // A count that is told of more than any cell gives, and a threshold that is less exact than the shunt, are silent.
    let own = |key: &str, pointer: &str, value: Value| {
        findings(&changed(&[(key, pointer, value)])).into_iter().map(|one| one.code).collect::<Vec<_>>()
    };
    let [balancing, exact] = ["design.balancing-not-counted", "design.threshold-too-exact"];
    assert_eq!(own("precharge.1", "/start_v", json!(0.0)), [balancing]);
    // 3.45 V over 33 ohm is 104.5 mA; the shunt is within 0.5 %, 0.2 % over life, and (15 + 0.35 · 30) · 30 = 765 ppm at −5 °C.
    assert_eq!(own("charge_counting.1", "/apart/unseen_a", json!(0.105)), [""; 0]);
    assert_eq!(own("charge_counting.1", "/apart/unseen_a", json!(0.104)), [balancing]);
    assert_eq!(own("race.1", "/threshold_error_percent", json!(0.78)), [balancing]);
    assert_eq!(own("race.1", "/threshold_error_percent", json!(0.77)), [exact, balancing]);
}

/// A threshold leaves faults from 906 A on to a race whose switch trips from 900 A, exactly to half a percent: 904.5 A. The shunt
/// is within 0.7775 %: 907 A, and who is right nobody knows.
#[test]
fn what_rests_on_what_is_told_otherwise_is_not_judged() {
    let faster = |from_a: f64| {
        let design = changed(&[
            ("protection.2", "/faster_from_a", json!(from_a)),
            ("race.1", "/threshold_error_percent", json!(0.5)),
            // Weaker faults than these are judged, too.
            ("race.1", "/source/external_resistance_max_ohm", json!(0.15)),
        ]);
        let assessed = assess(&design).expect("it stands");
        let row = assessed.requirements.into_iter().find(|row| row.check.id == "protection.faster").expect("a row");
        (row.check.verdict, row.check.reason.unwrap_or_default())
    };
    let (verdict, reason) = faster(906.0);
    assert_eq!(verdict, Verdict::NotJudged, "{reason}");
    assert!(reason.contains("of Short circuit: its threshold is taken to be right within 0.5"), "{reason}");
    assert!(faster(908.0).0 >= Verdict::Thin);
    assert_eq!(faster(904.0).0, Verdict::Fails);
}

/// The race takes the capacitance that is pre-charged, 4.7 mF: 634 kA²s of the 14.7 MA²s of its shunt. A discharge that rests on
/// no pre-charge tells of more: of 50 mF the shunt takes what comes, 6.7 MA²s, of 120 mF, 16.2 MA²s, it would not.
#[test]
fn what_all_of_a_section_give_together_is_told_otherwise_too() {
    let of_link = |farad: f64| {
        let mut document = Value::Object(find("funicular-summit-buffer").expect("a demo").design.document());
        let discharge = document.pointer_mut("/discharge/0").and_then(Value::as_object_mut).expect("a discharge");
        discharge.remove("rests_on");
        discharge.insert("capacitance_farad".into(), json!(farad));
        let assessed = assess(&Design::read(&document).expect("a document")).expect("it stands");
        assessed.requirements.into_iter().find(|row| row.check.id == "race.link-shunt").expect("a row").check.verdict
    };
    assert!(of_link(0.05) >= Verdict::Thin);
    assert_eq!(of_link(0.12), Verdict::NotJudged);
}

/// A second channel of the pack current hears what the count of the first one tells; one of another current does not.
#[test]
fn another_channel_of_one_current_hears_of_it() {
    let channels = |own: Option<f64>| {
        let mut design = changed(&[("charge_counting.1", "/usage/discharge_a", json!(150.0))]);
        let mut other = design.part("current.1").expect("a channel").clone();
        other.number = 2;
        if let Some(ampere) = own {
            tree::put(&mut other.input, "/load/continuous_a", json!(ampere));
        }
        design.parts.push(other);
        let told = findings(&design).into_iter().filter(|one| one.code == "design.more-than-continuous");
        told.map(|one| one.message.split(':').next().unwrap_or_default().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(channels(None).len(), 2, "{:?}", channels(None));
    assert_eq!(channels(Some(140.0)).len(), 2, "typed as the pack has it");
    assert_eq!(channels(Some(20.0)).len(), 1, "{:?}", channels(Some(20.0)));
}

/// Where nobody says which of two races is meant, a threshold is held against the one that takes more.
#[test]
fn of_two_races_the_one_that_takes_more_is_asked() {
    let told = |ampere2_s: f64| {
        let mut design = changed(&[("protection.2", "/wire_a2s", json!(ampere2_s))]);
        let mut other = design.part("race.1").expect("a race").clone();
        other.number = 2;
        tree::put(&mut other.input, "/wiring/area_mm2", json!(100.0));
        design.parts.push(other);
        for part in design.parts.iter_mut().filter(|part| part.section.key == "protection") {
            for (at, rests) in part.kind.rests.iter().enumerate() {
                if rests.section == RACES {
                    part.rests_on[at] = None;
                }
            }
        }
        findings(&design).into_iter().filter(|one| one.code == "design.takes-less-elsewhere").count()
    };
    // 185 mm² of copper take 7.007·10⁸ A²s, 100 mm² 2.047·10⁸.
    assert_eq!(told(7.0e8), 0);
    assert_eq!(told(7.02e8), 1);
}

/// A link whose discharge is gone has nobody who tells of a bleeder, and of two discharges one alone counts a source.
#[test]
fn a_discharge_that_is_gone_or_differs_is_told() {
    let mut design = find("funicular-summit-buffer").expect("a demo").design.clone();
    let mut other = design.part("discharge.1").expect("a discharge").clone();
    other.number = 2;
    tree::put(&mut other.input, "/feed/kind", json!("constant-current"));
    design.parts.push(other);
    let codes = |design: &Design| findings(design).into_iter().map(|one| one.code).collect::<Vec<_>>();
    assert!(codes(&design).contains(&"design.feed-not-counted".to_owned()), "{:?}", codes(&design));
    design.parts.retain(|part| part.section.key != DISCHARGES);
    assert!(codes(&design).contains(&"design.no-bleeder-told".to_owned()), "{:?}", codes(&design));
}

/// 200 frames a second cross the barrier; a threshold that is linked by it and takes 1000 samples sees each five times.
#[test]
fn samples_come_no_faster_than_frames() {
    let mut design = find("funicular-summit-buffer").expect("a demo").design.clone();
    let barrier = design.of(BARRIERS).next().expect("a barrier").number;
    let part = design.parts.iter_mut().find(|part| part.key() == "protection.3").expect("a threshold");
    let linked = part.kind.rests.iter().position(|rests| rests.named_at == "/linked_by").expect("a tie");
    part.rests_on[linked] = Some(barrier);
    let told = findings(&design);
    let fast = told.iter().filter(|one| one.code == "design.samples-too-fast");
    let places: Vec<&str> = fast.filter_map(|one| one.field.as_deref()).collect();
    assert_eq!(places, ["/protection/2/sample_rate_hz"]);
}

/// The link of the race has 0.1 mF where 4.7 mF are pre-charged: 13.5 kA²s or 634 kA²s. The threshold says that the shunt takes
/// 100 kA²s, its channel 14.6 MA²s: a row that either fact alone leaves as it is, but not both, is open, whoever tells more.
#[test]
fn of_two_facts_about_one_field_the_stronger_counts() {
    let design = changed(&[
        ("race.1", "/source/link_farad", json!(1e-4)),
        ("protection.2", "/shunt_a2s", json!(1e5)),
        ("current.1", "/shunt/heat_capacity_j_per_k", json!(13.9)),
    ]);
    let assessed = assess(&design).expect("it stands");
    let row = assessed.requirements.iter().find(|row| row.check.id == "race.link-shunt").expect("a row");
    assert_eq!(row.check.verdict, Verdict::NotJudged, "{:?}", row.check.reason);
}
