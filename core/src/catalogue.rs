//! # The catalogue
//!
//! Every calculation, one line each, in the order of the signal. Pages, API routes, the published schema, the start
//! page and the contract tests are derived from this list.

use crate::calc::{
    balancing, converter, current_channel, discharge, divider, free_model, precharge, protection, race, ripple, shunt,
    thermistor, voltage_channel,
};
use crate::calculation::Room;

/// All calculations.
pub static CATALOGUE: &[Room] = &[
    Room::of::<current_channel::CurrentChannel>(),
    Room::of::<voltage_channel::VoltageChannel>(),
    Room::of::<shunt::ShuntRoom>(),
    Room::of::<shunt::fit::ShuntFit>(),
    Room::of::<shunt::parallel::ShuntParallel>(),
    Room::of::<shunt::two_range::ShuntTwoRange>(),
    Room::of::<divider::DividerRoom>(),
    Room::of::<divider::choice::DividerChoice>(),
    Room::of::<converter::ConverterRoom>(),
    Room::of::<thermistor::ThermistorRoom>(),
    Room::of::<thermistor::fit::ThermistorFit>(),
    Room::of::<thermistor::table::ThermistorTable>(),
    Room::of::<protection::voltage::ProtectionVoltage>(),
    Room::of::<protection::current::ProtectionCurrent>(),
    Room::of::<protection::temperature::ProtectionTemperature>(),
    Room::of::<protection::trip_curve::TripCurve>(),
    Room::of::<ripple::RippleRoom>(),
    Room::of::<race::Race>(),
    Room::of::<precharge::PrechargeRoom>(),
    Room::of::<discharge::DischargeRoom>(),
    Room::of::<balancing::BalancingRoom>(),
    Room::of::<free_model::FreeModel>(),
];

/// The calculation of a slug.
pub fn find(slug: &str) -> Option<&'static Room> {
    CATALOGUE.iter().find(|room| room.meta.slug == slug)
}
