//! The two demos without cells, worked out by hand: closed forms, each beside its number.

use sensewright_core::demo::find;
use sensewright_core::design::answer::{DesignAnswer, Include, answer};
use sensewright_core::design::assess::assess;
use sensewright_core::work::Work;

fn answered(slug: &str) -> DesignAnswer {
    let design = &find(slug).unwrap_or_else(|| panic!("no demo {slug}")).design;
    answer(&assess(design).expect("it stands"), &Include::read("parts,pack,cautions").expect("their names"), Work::FREE)
        .expect("nobody stops it")
}

/// What a requirement of a part reaches.
fn achieved(answer: &DesignAnswer, part: &str, id: &str) -> f64 {
    let rows = || answer.result.requirements.iter().filter(|row| row.part == part);
    let row = rows().find(|row| row.check.id == id);
    let row = row.unwrap_or_else(|| panic!("{part} {id} of {:?}", rows().map(|row| &row.check.id).collect::<Vec<_>>()));
    row.check.achieved.expect("a number")
}

/// Joule: I² R with the ripple's Î²/3, the shunt at tolerance, drift and the far end of its coefficient; one thermal node.
fn steady_w(ampere: f64, ripple_a: f64, ohm: f64, worse: f64, tcr_per_k: f64, k_per_w: f64, ambient_degc: f64) -> f64 {
    let square = ampere * ampere + ripple_a * ripple_a / 3.0;
    (0..50).fold(0.0, |watt, _| square * ohm * worse * (1.0 + tcr_per_k * (ambient_degc + k_per_w * watt - 25.0)))
}

/// RC: the time from one voltage to another.
fn decay_s(ohm: f64, farad: f64, from_v: f64, to_v: f64) -> f64 {
    ohm * farad * (from_v / to_v).ln()
}

#[test]
fn the_charger_by_hand() {
    let answer = answered("vineyard-tractor-charger");
    let of = |part: &str, id: &str| achieved(&answer, part, id);
    // 1 mΩ, 1 % and 0.2 %, ±50 ppm/K, 22 K/W over 75 °C, at 32 A with 1.5 A of ripple.
    let watt = steady_w(32.0, 1.5, 1e-3, 1.01 * 1.002, 50e-6, 22.0, 75.0);
    super::holds_relative(of("/current/0", "current-channel.power"), watt, 2e-3);
    // Its error at the peak of 34 A, to first order: what drifts with the element (from 25 °C to hot), with the electronics
    // (50 K), with life, what calibrating at nothing and at 32 A leaves of the non-linearity (|1| + |34/32| + |1 − 34/32|).
    let (ampere, full_a): (f64, f64) = (34.0, 0.05 / 1e-3);
    let element_k = 50.0 + 22.0 * watt;
    let drifts = 50e-6 * element_k + 30e-6 * 50.0 + 10e-6 * 50.0 + 0.1e-2 + 0.2e-2;
    let fixed_v = 0.4e-6 * 50.0 + 3e-6 * 2.0 + 4e-6;
    let bend = 100e-6 * full_a * (1.0 + ampere / 32.0 + (1.0 - ampere / 32.0).abs());
    super::holds_relative(of("/current/0", "current-channel.error"), ampere * drifts + fixed_v / 1e-3 + bend, 0.03);
    // Divider: five times 470 kΩ over 8.06 kΩ with 10 MΩ across it.
    let lower = 8060.0 * 1e7 / (8060.0 + 1e7);
    let share = 470e3 / (5.0 * 470e3 + lower);
    super::holds_relative(of("/voltage/0", "voltage-channel.stress-normal"), 450.0 * share, 1e-6);
    // Load cut off: 34 A and a half ripple on 60 µF move the output by 0.57 V/µs for 4 + 1 + 2 µs and two samples of 2 MHz.
    let late_v = 6.5 + 5.7e5 * (4e-6 + 1e-6 + 2e-6 + 2.0 / 2e6);
    let harm = of("/protection/0", "protection.harm-side");
    assert!(harm > late_v && harm < late_v + 5.0 * 0.3, "{harm} against {late_v} and five sigma of noise");
    // Pre-charge: ½ C V², and 450 V on 209 Ω until the time-out of 100 ms.
    super::holds_relative(of("/precharge/0", "precharge.resistor-pulse"), 0.5 * 72e-6 * 450.0 * 450.0, 1e-3);
    super::holds_relative(of("/precharge/0", "precharge.short-energy"), 450.0 * 450.0 / (0.95 * 220.0) * 0.1, 1e-9);
    // The bleeder of 150 kΩ ± 5 % takes 72 µF from 450 V to 60 V.
    super::holds_relative(of("/discharge/0", "discharge.passive"), decay_s(1.05 * 150e3, 72e-6, 450.0, 60.0), 1e-9);
    // No capacity, no resistance: none is made up.
    let pack = answer.result.pack.as_ref().expect("asked for");
    assert_eq!((pack.capacity_ah, pack.resistance_ohm, pack.prospective_a), (None, None, None));
}

#[test]
fn the_drive_by_hand() {
    let answer = answered("night-bus-drive");
    let of = |part: &str, id: &str| achieved(&answer, part, id);
    // 75 µΩ, 1 % and 0.2 %, 15 + 10 ppm/K, 3 K/W over 80 °C, at 250 A with 25 A of ripple; the curvature takes 0.1 %.
    let watt = steady_w(250.0, 25.0, 75e-6, 1.01 * 1.002, 25e-6, 3.0, 80.0);
    super::holds_relative(of("/current/0", "current-channel.power"), watt, 3e-3);
    let lower = 10e3 * 2e7 / (10e3 + 2e7);
    super::holds_relative(
        of("/voltage/0", "voltage-channel.stress-normal"),
        850.0 * 680e3 / (8.0 * 680e3 + lower),
        1e-6,
    );
    // Ohm: 850 V on 110 mΩ; with the 8 mΩ of the short.
    let pack = answer.result.pack.as_ref().expect("asked for");
    super::holds_relative(pack.prospective_a.expect("the resistance is given"), 850.0 / 0.11, 1e-12);
    super::holds_relative(of("/race/0", "race.fuse-breaking"), 850.0 / 0.118, 1e-12);
    // 400 A and 25 A of ripple must not trip.
    super::holds(of("/race/0", "race.pack-peak"), 425.0, 1e-9);
    // ½ C V² of 770 µF; 850 V on 53.2 Ω for 250 ms.
    super::holds_relative(of("/precharge/0", "precharge.resistor-pulse"), 0.5 * 7.7e-4 * 850.0 * 850.0, 2e-3);
    super::holds_relative(of("/precharge/0", "precharge.short-energy"), 850.0 * 850.0 / (0.95 * 56.0) * 0.25, 1e-9);
    super::holds_relative(of("/discharge/0", "discharge.active"), decay_s(1.05 * 1500.0, 7.7e-4, 850.0, 60.0), 1e-9);
    super::holds_relative(of("/discharge/0", "discharge.passive"), decay_s(1.05 * 33e3, 7.7e-4, 850.0, 60.0), 1e-9);
    super::holds_relative(of("/discharge/0", "discharge.bleeder-power"), 850.0 * 850.0 / (0.95 * 33e3), 1e-9);
}
