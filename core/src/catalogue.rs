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
    Room::of::<current_channel::CurrentChannel>(),
    Room::of::<voltage_channel::VoltageChannel>(),
    Room::of::<shunt::CurrentShunt>(),
    Room::of::<shunt::fit::ShuntFit>(),
    Room::of::<shunt::parallel::ShuntParallel>(),
    Room::of::<shunt::two_range::ShuntTwoRange>(),
    Room::of::<divider::Divider>(),
    Room::of::<divider::choice::DividerChoice>(),
    Room::of::<converter::ConverterChain>(),
    Room::of::<thermistor::Thermistor>(),
    Room::of::<thermistor::fit::ThermistorFit>(),
    Room::of::<thermistor::table::ThermistorTable>(),
    Room::of::<protection::voltage::ProtectionVoltage>(),
    Room::of::<protection::current::ProtectionCurrent>(),
    Room::of::<protection::temperature::ProtectionTemperature>(),
    Room::of::<protection::trip_curve::TripCurve>(),
    Room::of::<ripple::RippleEffects>(),
    Room::of::<race::Race>(),
    Room::of::<precharge::Precharge>(),
    Room::of::<discharge::Discharge>(),
    Room::of::<balancing::Balancing>(),
    Room::of::<uncertainty::FreeModel>(),
];

/// The calculation of a slug.
pub fn find(slug: &str) -> Option<&'static Room> {
    CATALOGUE.iter().find(|room| room.meta.slug == slug)
}
