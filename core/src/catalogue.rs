//! # The catalogue
//!
//! Every calculation, one line each, in the order of the signal. Pages, API routes, the published schema, the start
//! page and the contract tests are derived from this list.

use crate::calc::barrier::isolation;
use crate::calc::cells::balancing;
use crate::calc::charge::charge_counting;
use crate::calc::conversion::converter;
use crate::calc::current::{current_channel, shunt};
use crate::calc::dc_link::{discharge, precharge};
use crate::calc::free::{conformity, uncertainty};
use crate::calc::protection::{self, race, ripple};
use crate::calc::safety;
use crate::calc::temperature::thermistor;
use crate::calc::voltage::{divider, voltage_channel};
use crate::calculation::Entry;

/// All calculations.
pub static CATALOGUE: &[Entry] = &[
    Entry::of::<current_channel::CurrentChannel>(),
    Entry::of::<voltage_channel::VoltageChannel>(),
    Entry::of::<shunt::CurrentShunt>(),
    Entry::of::<shunt::fit::ShuntFit>(),
    Entry::of::<shunt::parallel::ShuntParallel>(),
    Entry::of::<shunt::two_range::ShuntTwoRange>(),
    Entry::of::<divider::Divider>(),
    Entry::of::<divider::choice::DividerChoice>(),
    Entry::of::<converter::ConverterChain>(),
    Entry::of::<thermistor::Thermistor>(),
    Entry::of::<thermistor::fit::ThermistorFit>(),
    Entry::of::<thermistor::table::ThermistorTable>(),
    Entry::of::<isolation::Isolation>(),
    Entry::of::<protection::voltage::ProtectionVoltage>(),
    Entry::of::<protection::current::ProtectionCurrent>(),
    Entry::of::<protection::temperature::ProtectionTemperature>(),
    Entry::of::<protection::trip_curve::TripCurve>(),
    Entry::of::<ripple::RippleEffects>(),
    Entry::of::<race::Race>(),
    Entry::of::<precharge::Precharge>(),
    Entry::of::<discharge::Discharge>(),
    Entry::of::<balancing::Balancing>(),
    Entry::of::<charge_counting::ChargeCounting>(),
    Entry::of::<charge_counting::profile::RecordedProfile>(),
    Entry::of::<safety::Safety>(),
    Entry::of::<uncertainty::FreeModel>(),
    Entry::of::<conformity::Conformity>(),
];

/// The calculation of a slug.
pub fn find(slug: &str) -> Option<&'static Entry> {
    CATALOGUE.iter().find(|entry| entry.meta.slug == slug)
}
