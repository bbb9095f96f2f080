//! # The catalogue
//!
//! Every calculation, one line each, in the order of the signal. Pages, API routes, the published schema, the start
//! page and the contract tests are derived from this list.

use crate::calc::cells::balancing;
use crate::calc::conversion::converter;
use crate::calc::current::{current_channel, shunt};
use crate::calc::dc_link::{discharge, precharge};
use crate::calc::free::uncertainty;
use crate::calc::protection::{self, race, ripple};
use crate::calc::temperature::thermistor;
use crate::calc::voltage::{divider, voltage_channel};
use crate::calculation::Room;

/// All calculations.
pub static CATALOGUE: &[Room] = &[
    Room::whole::<current_channel::CurrentChannel>(),
    Room::whole::<voltage_channel::VoltageChannel>(),
    Room::whole::<shunt::ShuntRoom>(),
    Room::whole::<shunt::fit::ShuntFit>(),
    Room::of::<shunt::parallel::ShuntParallel>(),
    Room::whole::<shunt::two_range::ShuntTwoRange>(),
    Room::of::<divider::Divider>(),
    Room::of::<divider::choice::DividerChoice>(),
    Room::whole::<converter::ConverterRoom>(),
    Room::whole::<thermistor::ThermistorRoom>(),
    Room::whole::<thermistor::fit::ThermistorFit>(),
    Room::whole::<thermistor::table::ThermistorTable>(),
    Room::whole::<protection::voltage::ProtectionVoltage>(),
    Room::whole::<protection::current::ProtectionCurrent>(),
    Room::whole::<protection::temperature::ProtectionTemperature>(),
    Room::whole::<protection::trip_curve::TripCurve>(),
    Room::whole::<ripple::RippleRoom>(),
    Room::whole::<race::Race>(),
    Room::whole::<precharge::PrechargeRoom>(),
    Room::of::<discharge::Discharge>(),
    Room::whole::<balancing::BalancingRoom>(),
    Room::whole::<uncertainty::FreeModel>(),
];

/// The calculation of a slug.
pub fn find(slug: &str) -> Option<&'static Room> {
    CATALOGUE.iter().find(|room| room.meta.slug == slug)
}
