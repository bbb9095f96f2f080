//! What the isolation takes, group by group. A group in which nothing is given is not in the design.

mod barrier;
mod bus;
mod own;
mod signal;
mod supply;

use crate::field::{group, list};
use crate::input;

pub use barrier::{
    AltitudeRows, Barrier, BetweenRows, Category, Crossing, FieldShape, ImpulseBy, Insulation, Isolator,
    IsolatorImmunity, MaterialGroup, OpenElement,
};
pub use bus::{
    Bus, BusCase, BusPath, Earthing, Hung, Monitor, MonitorKind, PathKind, ReadingJudged, Touch, TwoMeasurement,
    YCapacitors,
};
pub use own::OwnTables;
pub use signal::{CommonMode, Coupling, DataLink};
pub use supply::{EfficiencyPoint, IsolatedSupply, LostReading, SupplyLoad};

/// One crossing a line: name, clearance, creepage, CTI, group, printed wiring, rib, groove.
const CROSSINGS: &str = "Data isolator as soldered; 8.4 mm; 8.4 mm; 600 V\nSupply transformer; 9.2 mm; 12.5 mm; ; group-ii\nBoard beside the slot; 9.2 mm; 12.8 mm; ; group-ii";

input! {
    /// Everything the isolation takes.
    pub struct IsolationInput {
        barrier: Barrier = group::<Barrier>(), "", "Barrier", "What the insulation between battery and controller must stand.";
        crossings: Vec<Crossing> = list::<Crossing>(1, 12, CROSSINGS), "", "Crossings", "Every place where the barrier is crossed: isolator as soldered, supply transformer, divider, board, connector.";
        open_element: OpenElement = group::<OpenElement>(), "", "Divider chain across the barrier", "One element open puts the whole voltage across its own pads.";
        isolator: Isolator = group::<Isolator>(), "", "Isolator", "Ratings of its data sheet; leave all empty if there is none.";
        common_mode: CommonMode = group::<CommonMode>(), "", "Common-mode slew", "What the switching of the other side drives through the barrier; leave all empty if it is not described.";
        data: DataLink = group::<DataLink>(), "", "Data", "What is sent across; leave all empty if it is not described.";
        supply: IsolatedSupply = group::<IsolatedSupply>(), "", "Isolated supply", "What feeds the far side; leave all empty if it is not described.";
        bus: Bus = group::<Bus>(), "", "Insulation of the whole bus", "Every path between a pole and the chassis, of all units; leave all empty if it is not described.";
        touch: Touch = group::<Touch>(), "", "Touch current", "Through a body between a pole and the chassis; counts with the bus.";
        monitor: Monitor = group::<Monitor>(), "", "Insulation monitoring", "What supervises the bus.";
        y: YCapacitors = group::<YCapacitors>(), "", "Y capacitors", "Between the poles and the chassis; leave all empty if there are none.";
        two_measurement: TwoMeasurement = group::<TwoMeasurement>(), "", "Measurement with a known resistor", "Readings of the two-measurement method; leave all empty if nothing was measured.";
        tables: OwnTables = group::<OwnTables>(), "", "Tables of another edition", "Typed rows replace a table as a whole; empty: the tables shown below.";
    }
}

impl IsolationInput {
    /// Whether the bus is described: who supervises it or says what it must have means it, paths or none.
    pub fn describes_bus(&self) -> bool {
        self.bus.is_there() || self.bus.ohm_per_v.is_some() || self.monitor.is_there()
    }

    /// The resistance of a monitoring device that is there, where nobody says it: neither as its own nor as a path. It is not
    /// infinite for that.
    pub fn monitor_needs(&self) -> Option<&'static str> {
        let mut paths = self.bus.unit_paths.iter().chain(&self.bus.shared_paths);
        let listed = paths.any(|path| path.kind == PathKind::Monitor);
        let unknown = self.monitor.is_there() && self.monitor.internal_ohm.is_none() && !listed;
        unknown.then_some("/monitor/internal_ohm")
    }
}

/// Whether any of some is given.
fn any(given: &[Option<f64>]) -> bool {
    given.iter().any(Option::is_some)
}
