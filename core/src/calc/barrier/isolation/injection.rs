//! What an edge of the other side drives through the barrier into a channel, and what is sent across.

use serde::Serialize;
use utoipa::ToSchema;

use super::input::{CommonMode, DataLink};
use crate::judge::passes;

/// The current of an edge through every capacitance, and what it does in a channel.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationInjection {
    /// All capacitances together; absent where none is listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacitance_farad: Option<f64>,
    /// Step of the edge.
    pub step_v: f64,
    /// Current while the edge lasts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current_a: Option<f64>,
    /// How long the edge lasts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub edge_s: Option<f64>,
    /// Charge of one edge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub charge_coulomb: Option<f64>,
    /// Peak at the channel's input, without a filter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak_v: Option<f64>,
    /// Peak behind the filter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub filtered_v: Option<f64>,
    /// Mean of all edges.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_v: Option<f64>,
    /// What the current needs that is not given.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) current_needs: Option<&'static str>,
    /// What the peak needs.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) peak_needs: Option<&'static str>,
    /// What the mean needs.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) mean_needs: Option<&'static str>,
}

/// The first of some values that is not given.
pub fn missing<const N: usize>(of: [(Option<f64>, &'static str); N]) -> Option<&'static str> {
    of.into_iter().find(|(value, _)| value.is_none()).map(|(_, at)| at)
}

/// The injection of an edge.
pub fn injection(input: &CommonMode, working_v: f64) -> IsolationInjection {
    let step = input.node_step_v.unwrap_or(working_v);
    let listed = !input.couplings.is_empty();
    let sum = || input.couplings.iter().map(|one| f64::from(one.count) * one.capacitance_farad).sum::<f64>();
    let capacitance = listed.then(sum);
    let slew = (input.node_slew_v_per_s, "/common_mode/node_slew_v_per_s");
    let coupled = (capacitance, "/common_mode/couplings");
    let resistance = (input.shared_resistance_ohm, "/common_mode/shared_resistance_ohm");
    let share = input.injected_share_percent / 100.0;
    let current = capacitance.zip(slew.0).map(|(c, slew)| c * slew);
    let edge_s = slew.0.map(|slew| step / slew);
    let charge = capacitance.map(|c| c * step);
    // An inductance that is not given counts as nothing only where no comparator is asked about.
    let rise = input.shared_inductance_henry.map(|henry| (henry, input.current_rise_s));
    let peak = match rise {
        Some((henry, Some(rise))) => {
            current.zip(resistance.0).map(|(current, ohm)| share * (current * ohm + henry * current / rise))
        }
        Some((0.0, None)) => current.zip(resistance.0).map(|(current, ohm)| share * current * ohm),
        _ => None,
    };
    let left = 1.0 - input.cancellation_percent / 100.0;
    let settled =
        input.channel_filter_s.zip(edge_s).map(|(tau, edge)| -libm::expm1(-edge / tau) * piled(input, tau, left));
    let across = current.zip(resistance.0).map(|(current, ohm)| share * current * ohm);
    let mean = charge.zip(resistance.0).zip(input.edge_rate_hz).map(|((q, ohm), rate)| share * q * ohm * rate * left);
    let inductance = (input.shared_inductance_henry, "/common_mode/shared_inductance_henry");
    let rise_needed = match input.shared_inductance_henry {
        Some(henry) if henry > 0.0 => (input.current_rise_s, "/common_mode/current_rise_s"),
        _ => (Some(0.0), ""),
    };
    IsolationInjection {
        capacitance_farad: capacitance,
        step_v: step,
        current_a: current,
        edge_s,
        charge_coulomb: charge,
        peak_v: peak,
        filtered_v: across.zip(settled).map(|(across, settled)| across * settled),
        mean_v: mean,
        current_needs: missing([slew, coupled]),
        peak_needs: missing([slew, coupled, resistance, inductance, rise_needed]),
        mean_needs: missing([coupled, resistance, (input.edge_rate_hz, "/common_mode/edge_rate_hz")]),
    }
}

/// How many times an edge counts behind a filter that has not forgotten the edges before it: 1/(1 − exp(−1/(f τ))) where
/// nothing cancels.
pub fn piled(input: &CommonMode, tau: f64, left: f64) -> f64 {
    let before = |rate: f64| -1.0 / libm::expm1(-1.0 / (rate * tau)) - 1.0;
    1.0 + left * input.edge_rate_hz.filter(|rate| *rate > 0.0).map_or(0.0, before)
}

/// What is sent across.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationData {
    /// Rate that the frames need.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed_bit_per_s: Option<f64>,
    /// Share of the link that they use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub utilisation_percent: Option<f64>,
    /// Time that a bit needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bit_s: Option<f64>,
    /// Time that the clock leaves for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub period_s: Option<f64>,
    /// Longest time from a reading to the controller, with lost frames.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latency_s: Option<f64>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) utilisation_needs: Option<&'static str>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) timing_needs: Option<&'static str>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) latency_needs: Option<&'static str>,
}

/// The data across the barrier.
pub fn data(input: &DataLink) -> IsolationData {
    let (bits, frames) = ((input.frame_bits, "/data/frame_bits"), (input.frame_rate_hz, "/data/frame_rate_hz"));
    let (rate, delay) = ((input.rate_bit_per_s, "/data/rate_bit_per_s"), (input.delay_max_s, "/data/delay_max_s"));
    let clock = (input.clock_hz, "/data/clock_hz");
    let (skew, valid, setup) =
        ((input.skew_s, "/data/skew_s"), (input.valid_s, "/data/valid_s"), (input.setup_s, "/data/setup_s"));
    let more = 1.0 + input.overhead_percent / 100.0;
    let needed = bits.0.zip(frames.0).map(|(bits, frames)| bits * frames * more);
    let way = if input.clock_returned { Some(0.0) } else { delay.0.map(|delay| 2.0 * delay) };
    let bit_s = [way, skew.0, valid.0, setup.0].into_iter().sum::<Option<f64>>();
    let frame_s = bits.0.zip(rate.0).map(|(bits, rate)| bits * more / rate);
    let wait = frames.0.map(|frames| (1.0 + f64::from(input.lost_frames)) / frames);
    let utilisation_percent = needed.zip(rate.0).map(|(needed, rate)| 100.0 * needed / rate);
    // A link that gets more than it sends lets the rest wait without end.
    let keeps_up = utilisation_percent.is_none_or(|used| !passes(used, 100.0));
    let latency_s = [wait, frame_s, delay.0].into_iter().sum::<Option<f64>>().filter(|_| keeps_up);
    let way_needed = if input.clock_returned { (Some(0.0), "") } else { delay };
    IsolationData {
        needed_bit_per_s: needed,
        utilisation_percent,
        bit_s,
        period_s: clock.0.map(|clock| 1.0 / clock),
        latency_s,
        utilisation_needs: missing([bits, frames, rate]),
        timing_needs: missing([way_needed, skew, valid, setup, clock]),
        latency_needs: missing([bits, frames, rate, delay]),
    }
}
