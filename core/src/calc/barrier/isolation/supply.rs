//! The isolated supply: power, loss, heat, start, what its ripple does to a channel.
//!
//! The efficiency of a data sheet is turned into loss before anything lies between two points: the loss is nearly straight
//! in the output power, the efficiency is not. Below the lowest point its loss stays, which is an upper bound.

use serde::Serialize;
use utoipa::ToSchema;

use super::injection::missing;
use super::input::{IsolatedSupply, LostReading};

/// The isolated supply at its largest load.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct IsolationSupply {
    /// Power of the loads; absent where none is listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_w: Option<f64>,
    /// What it loses there; absent above the highest point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss_w: Option<f64>,
    /// What it takes on the near side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input_w: Option<f64>,
    /// Efficiency at this load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub efficiency_percent: Option<f64>,
    /// Power that it may give at the hottest ambient.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_w: Option<f64>,
    /// Junction temperature at the load that loses most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub junction_degc: Option<f64>,
    /// Current at the start.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_a: Option<f64>,
    /// Highest output voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_v: Option<f64>,
    /// How long the start takes; absent where it never starts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_s: Option<f64>,
    /// Whether the current limit leaves nothing to charge the output with.
    pub never_starts: bool,
    /// What the ripple does at the channel's input.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ripple_offset_v: Option<f64>,
    /// What the regulation does there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub regulation_offset_v: Option<f64>,
    /// Both together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_v: Option<f64>,
    /// Whether a lost supply looks like a reading that nothing else questions.
    pub lost_unseen: bool,
    /// The points of the efficiency between which the load lies, as power and loss.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) between: Option<[[f64; 2]; 2]>,
    /// The largest loss of all loads up to this one; absent above the highest point.
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) most_lost_w: Option<f64>,
    /// Whether the load lies above the highest point.
    pub above_points: bool,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) allowed_needs: Option<&'static str>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) junction_needs: Option<&'static str>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) start_needs: Option<&'static str>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) offset_needs: Option<&'static str>,
}

/// The points as output power and loss, ascending.
pub fn losses(input: &IsolatedSupply) -> Vec<[f64; 2]> {
    let loss = |point: &super::input::EfficiencyPoint| {
        [point.output_w, point.output_w * (100.0 / point.efficiency_percent - 1.0)]
    };
    let mut points: Vec<[f64; 2]> = input.efficiency_points.iter().map(loss).collect();
    points.sort_by(|one, other| one[0].total_cmp(&other[0]));
    points
}

/// The points between which a power lies; the lowest twice below it, nothing above the highest.
fn around(points: &[[f64; 2]], power_w: f64) -> Option<[[f64; 2]; 2]> {
    let above = points.iter().position(|point| power_w <= point[0])?;
    Some([points[above.saturating_sub(1)], points[above]])
}

/// The loss at an output power; nothing above the highest point.
pub fn loss_at(points: &[[f64; 2]], power_w: f64) -> Option<f64> {
    let [low, high] = around(points, power_w)?;
    if power_w <= low[0] || low[0] >= high[0] {
        return Some(if power_w <= low[0] { low[1] } else { high[1] });
    }
    Some(low[1] + (high[1] - low[1]) * (power_w - low[0]) / (high[0] - low[0]))
}

/// The largest loss at any output power up to this one; nothing above the highest point. A loss that is straight between its
/// points is largest at one of them, or at the end.
fn most_lost(points: &[[f64; 2]], power_w: f64) -> Option<f64> {
    let below = points.iter().filter(|point| point[0] <= power_w).map(|point| point[1]);
    loss_at(points, power_w).map(|full| below.fold(full, f64::max))
}

/// The rejection of a supply as a factor.
pub fn rejected(volts: f64, decibels: f64) -> f64 {
    volts * libm::pow(10.0, -decibels / 20.0)
}

/// The isolated supply.
pub fn supply(input: &IsolatedSupply) -> IsolationSupply {
    let points = losses(input);
    let listed = !input.loads.is_empty();
    let of = |value: fn(&super::input::SupplyLoad) -> f64| input.loads.iter().map(value);
    let output = listed.then(|| of(|load| load.voltage_v * load.current_a).sum::<f64>());
    let output_v = listed.then(|| of(|load| load.voltage_v).fold(0.0, f64::max));
    let loss = output.and_then(|power| loss_at(&points, power));
    let between = output.and_then(|power| around(&points, power));
    let above_points = output.is_some_and(|power| points.last().is_some_and(|last| power > last[0]));
    let input_w = output.zip(loss).map(|(power, loss)| power + loss);
    let derating = input.derate_from_degc.zip(input.zero_power_degc).zip(input.ambient_degc);
    let share = derating.map(
        |((from, to), ambient)| {
            if ambient <= from { 1.0 } else { ((to - ambient) / (to - from)).clamp(0.0, 1.0) }
        },
    );
    // The loads are the largest that occur: less may be drawn at any time.
    let most_lost_w = output.and_then(|power| most_lost(&points, power));
    let heat = most_lost_w.zip(input.thermal_resistance_k_per_w).zip(input.ambient_degc);
    // After the start the loads take all that they take.
    let start_a = listed.then(|| input.start_factor.max(1.0) * of(|load| load.current_a).sum::<f64>());
    let spare = input.current_limit_a.zip(start_a).map(|(limit, start)| limit - start);
    let never_starts = spare.is_some_and(|spare| spare <= 0.0);
    let charge = input.output_farad.zip(output_v).map(|(c, v)| c * v);
    let ripple = input.ripple_pp_v.zip(input.rejection_at_ripple_db).map(|(pp, db)| rejected(pp / 2.0, db));
    let regulation = input.regulation_v.zip(input.rejection_dc_db).map(|(v, db)| rejected(v, db));
    let loads = (output, "/supply/loads");
    let ambient = (input.ambient_degc, "/supply/ambient_degc");
    IsolationSupply {
        output_w: output,
        loss_w: loss,
        input_w,
        efficiency_percent: output.zip(input_w).filter(|(_, all)| *all > 0.0).map(|(power, all)| 100.0 * power / all),
        allowed_w: input.rated_w.zip(share).map(|(rated, share)| rated * share),
        junction_degc: heat.map(|((loss, k_per_w), ambient)| ambient + loss * k_per_w),
        start_a,
        output_v,
        start_s: charge.zip(spare).filter(|_| !never_starts).map(|(charge, spare)| charge / spare),
        never_starts,
        ripple_offset_v: ripple,
        regulation_offset_v: regulation,
        offset_v: ripple.zip(regulation).map(|(ripple, regulation)| ripple + regulation),
        lost_unseen: input.reading_when_lost != LostReading::Flagged && !input.lost_is_seen,
        between,
        most_lost_w,
        above_points,
        allowed_needs: missing([
            loads,
            (input.rated_w, "/supply/rated_w"),
            (input.derate_from_degc, "/supply/derate_from_degc"),
            (input.zero_power_degc, "/supply/zero_power_degc"),
            ambient,
        ]),
        junction_needs: missing([
            loads,
            (points.first().map(|point| point[0]), "/supply/efficiency_points"),
            (input.thermal_resistance_k_per_w, "/supply/thermal_resistance_k_per_w"),
            ambient,
        ]),
        start_needs: missing([
            loads,
            (input.current_limit_a, "/supply/current_limit_a"),
            (input.output_farad, "/supply/output_farad"),
        ]),
        offset_needs: missing([
            (input.ripple_pp_v, "/supply/ripple_pp_v"),
            (input.rejection_at_ripple_db, "/supply/rejection_at_ripple_db"),
            (input.regulation_v, "/supply/regulation_v"),
            (input.rejection_dc_db, "/supply/rejection_dc_db"),
        ]),
    }
}
