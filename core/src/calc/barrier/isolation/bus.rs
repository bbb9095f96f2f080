//! The insulation of the whole bus: the chassis is a node, and every path between pack and chassis hangs on it.

use serde::Serialize;
use utoipa::ToSchema;

use super::input::{Bus, BusCase, Earthing, Hung, IsolationInput, MonitorKind, PathKind};
use crate::report::caution::TOUCH_SAFE_V;

/// Conductances to the chassis, each at its place in the pack.
#[derive(Clone, Copy, Debug, Default)]
pub struct Node {
    /// Sum of the conductances, S.
    pub siemens: f64,
    /// Sum of conductance times position, the negative pole at 0, the positive at 1, S.
    pub weighted: f64,
}

impl Node {
    /// With one more path.
    #[must_use]
    pub fn with(self, siemens: f64, position: f64) -> Self {
        Self { siemens: self.siemens + siemens, weighted: self.weighted + siemens * position }
    }

    /// The paths that are kept.
    pub fn of(paths: impl Iterator<Item = Hung>, keep: fn(&Hung) -> bool) -> Self {
        let add = |node: Self, path: Hung| node.with(f64::from(path.count) / path.resistance_ohm, path.position);
        paths.filter(keep).fold(Self::default(), add)
    }

    fn times(self, n: f64) -> Self {
        Self { siemens: self.siemens * n, weighted: self.weighted * n }
    }

    fn plus(self, other: Self) -> Self {
        Self { siemens: self.siemens + other.siemens, weighted: self.weighted + other.weighted }
    }
}

/// The insulation of the whole bus.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationBus {
    /// Every path in parallel: what a monitoring device sees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parallel_ohm: Option<f64>,
    /// The same per volt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parallel_ohm_per_v: Option<f64>,
    /// The isolation resistance as the regulation measures it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method_ohm: Option<f64>,
    /// Negative pole to chassis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub negative_v: Option<f64>,
    /// Positive pole to chassis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub positive_v: Option<f64>,
    /// Required per volt; absent where nothing is required.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub required_ohm_per_v: Option<f64>,
    /// Required at the highest working voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub required_ohm: Option<f64>,
    /// Units on the bus.
    pub units: u32,
    /// Units that the requirement allows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub units_allowed: Option<f64>,
    /// What one unit alone would show.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub one_unit_ohm: Option<f64>,
    /// Share of the measuring strings in all conductance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strings_percent: Option<f64>,
    /// Current through a body at the positive pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub touch_positive_a: Option<f64>,
    /// Current through a body at the negative pole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub touch_negative_a: Option<f64>,
    /// Monitoring devices on the bus.
    pub monitors: u32,
    /// Positions times conductance of all, S.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) weighted: f64,
}

/// What hangs on the bus besides the paths that are listed, ohm and place in the pack: the monitoring device's own
/// resistance, and the bleeders of both poles.
pub fn besides(input: &IsolationInput) -> impl Iterator<Item = (f64, f64)> {
    let monitor = input.monitor.is_there().then_some(input.monitor.internal_ohm).flatten();
    let bleeder = input.y.is_there().then(|| input.y.lowest_bleeder_ohm()).flatten();
    let bleeders = bleeder.into_iter().flat_map(|ohm| [(ohm, 0.0), (ohm, 1.0)]);
    monitor.into_iter().map(|ohm| (ohm, 0.5)).chain(bleeders)
}

/// What is required per volt, where something is.
pub fn required_ohm_per_v(bus: &Bus, voltage_v: f64) -> Option<f64> {
    if nothing_required(bus, voltage_v) || rests_on_disconnection(bus) {
        return None;
    }
    match bus.bus_case {
        BusCase::Direct | BusCase::Protected => Some(100.0),
        BusCase::Combined | BusCase::Alternating => Some(500.0),
        BusCase::Stated => bus.ohm_per_v,
    }
}

/// Whether nothing is required: the voltage is low.
pub fn nothing_required(bus: &Bus, voltage_v: f64) -> bool {
    voltage_v <= TOUCH_SAFE_V && bus.bus_case != BusCase::Stated
}

/// Whether no resistance protects: a pole stands at the chassis by design, so that the first fault is a short circuit that
/// something must open (IEC 60364-4-41, automatic disconnection), unless a resistance is stated all the same.
pub fn rests_on_disconnection(bus: &Bus) -> bool {
    bus.is_earthed() && bus.bus_case != BusCase::Stated
}

/// So many units in words.
pub fn counted(units: u32) -> String {
    if units == 1 { "one unit".into() } else { format!("{units} units") }
}

/// The insulation of the bus at the highest voltage.
pub fn bus(input: &IsolationInput) -> IsolationBus {
    let (bus, voltage_v) = (&input.bus, input.barrier.pack_v);
    let units = f64::from(bus.units_in_parallel);
    let own = input.monitor.is_there().then_some(input.monitor.internal_ohm).flatten();
    let extra = besides(input).fold(Node::default(), |node, (ohm, position)| node.with(1.0 / ohm, position));
    let of = |keep: fn(&Hung) -> bool| [Node::of(bus.of_unit(), keep), Node::of(bus.shared(), keep)];
    let [unit, shared] = of(|_| true);
    // What nobody listed is not infinite for that, whatever else hangs on the bus.
    let listed = unit.siemens + shared.siemens > 0.0;
    let shared = shared.plus(extra);
    let all = unit.times(units).plus(shared);
    let known = bus.is_there() && listed;
    let parallel = known.then(|| 1.0 / all.siemens);
    let negative_v = known.then(|| voltage_v * all.weighted / all.siemens);
    let positive_v = negative_v.map(|v| voltage_v - v);
    let larger = negative_v.zip(positive_v).map(|(n, p)| n.max(p));
    let required = required_ohm_per_v(bus, voltage_v);
    let required_ohm = required.map(|r| r * voltage_v);
    let allowed = required_ohm.filter(|_| unit.siemens > 0.0).map(|required| {
        let exact = (1.0 / required - shared.siemens) / unit.siemens;
        // Exact at equality, whatever the last bit.
        (exact * (1.0 + 1e-12) + 1e-12).floor().max(0.0)
    });
    let strings = of(|path| path.kind == PathKind::String);
    let strings = strings[0].times(units).plus(strings[1]).siemens;
    let monitors = bus
        .unit_paths
        .iter()
        .map(|path| (path, bus.units_in_parallel))
        .chain(bus.shared_paths.iter().map(|path| (path, 1)));
    let monitors = monitors.filter(|(path, _)| path.kind == PathKind::Monitor).map(|(path, times)| path.count * times);
    // A pole at the chassis by design: the other one stands at the whole voltage, and that is no touch current of paths.
    let counts = known && bus.earthing == Earthing::Floating;
    let current = |pole: f64| counts.then(|| voltage_v * touched(input, pole) / input.touch.body_ohm);
    IsolationBus {
        parallel_ohm: parallel,
        parallel_ohm_per_v: parallel.map(|ohm| ohm / voltage_v),
        method_ohm: parallel.zip(larger).map(|(ohm, larger)| ohm * voltage_v / larger),
        negative_v,
        positive_v,
        required_ohm_per_v: required,
        required_ohm,
        units: bus.units_in_parallel,
        units_allowed: allowed,
        one_unit_ohm: (unit.siemens > 0.0).then(|| 1.0 / (unit.siemens + shared.siemens)),
        strings_percent: known.then(|| 100.0 * strings / all.siemens),
        touch_positive_a: current(1.0),
        touch_negative_a: current(0.0),
        monitors: monitors.sum::<u32>() + u32::from(own.is_some()),
        weighted: all.weighted,
    }
}

/// The largest share of the voltage that a body at a pole has, the pole at this position.
///
/// ```text
/// Formula  u = max over the paths that are there of Rb Σ|x − p| G/(1 + Rb Σ G)
/// Search   resistances are the lowest, so that no path need be there: one drives the body where |x − p| > u, and takes current
///          off it where it is nearer. From all paths on, those nearer than the u of before are left out until none is: u only
///          rises, and what is left out never drives again
/// Source   Kirchhoff's laws; the ratio of two sums is largest where no single path changes it (fractional programme)
/// ```
fn touched(input: &IsolationInput, pole: f64) -> f64 {
    let bus = &input.bus;
    let paths = || {
        let unit = bus.of_unit().map(|path| (path, bus.units_in_parallel));
        let listed = unit.chain(bus.shared().map(|path| (path, 1)));
        let listed = listed.map(|(path, times)| (f64::from(path.count * times) / path.resistance_ohm, path.position));
        listed.chain(besides(input).map(|(ohm, position)| (1.0 / ohm, position)))
    };
    let mut share = 0.0;
    loop {
        let far = paths().map(|(siemens, position)| (siemens, (position - pole).abs())).filter(|far| far.1 > share);
        let [all, drives] =
            far.fold([0.0; 2], |[all, drives], (siemens, away)| [all + siemens, drives + siemens * away]);
        let with_them = input.touch.body_ohm * drives / (1.0 + input.touch.body_ohm * all);
        if with_them <= share {
            return share;
        }
        share = with_them;
    }
}

/// The supervision of the bus.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationMonitor {
    /// Lowest alarm that is certain to come before the requirement is passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alarm_from_ohm: Option<f64>,
    /// Highest alarm that never comes from the healthy bus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alarm_to_ohm: Option<f64>,
    /// The fault from one pole that just alarms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub one_sided_ohm: Option<f64>,
    /// Time constant at the resistance that is required.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tau_required_s: Option<f64>,
    /// Time constant of the healthy bus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tau_healthy_s: Option<f64>,
    /// Time until a fault is detected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub detects_s: Option<f64>,
    /// Time until a fault that is gone is released.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub release_s: Option<f64>,
    /// Whether a fault of both poles alike stays unseen.
    pub blind_to_symmetric: bool,
}

/// The supervision, with the capacitance of all units.
pub fn monitor(input: &IsolationInput, bus: &IsolationBus, capacitance_farad: Option<f64>) -> IsolationMonitor {
    let monitor = &input.monitor;
    let error = monitor.error_percent / 100.0;
    // The healthy resistance holds the device already.
    let at_required = bus.required_ohm.map(|required| monitor.internal_ohm.map_or(required, |own| par(required, own)));
    let tau = |ohm: Option<f64>| ohm.zip(capacitance_farad).map(|(ohm, c)| ohm * c);
    let one_sided = monitor.alarm_ohm.zip(bus.parallel_ohm).filter(|(alarm, healthy)| alarm < healthy);
    let (tau_required, tau_healthy) = (tau(at_required), tau(bus.parallel_ohm));
    IsolationMonitor {
        alarm_from_ohm: bus.required_ohm.map(|required| required * (1.0 + error)),
        alarm_to_ohm: bus.parallel_ohm.map(|healthy| healthy * (1.0 - error)),
        one_sided_ohm: one_sided.map(|(alarm, healthy)| 1.0 / (1.0 / alarm - 1.0 / healthy)),
        tau_required_s: tau_required,
        tau_healthy_s: tau_healthy,
        detects_s: tau_required.map(|tau| monitor.settle_tau * tau),
        release_s: tau_healthy.map(|tau| monitor.settle_tau * tau),
        blind_to_symmetric: monitor.kind == MonitorKind::Balance && !monitor.symmetric_is_seen,
    }
}

/// Two resistances in parallel.
pub fn par(one: f64, other: f64) -> f64 {
    one * other / (one + other)
}
