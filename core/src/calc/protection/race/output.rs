//! What the race answers.

use serde::Serialize;
use utoipa::ToSchema;

use super::clamp::Clamp;
use super::strings::RaceStrings;

/// What the race answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RaceOutput {
    /// The strongest fault.
    pub strongest: RaceFault,
    /// The weakest fault.
    pub weakest: RaceFault,
    /// When the current reaches the threshold, s; absent when it never does.
    pub time_to_threshold_s: Option<f64>,
    /// What the filter adds to that, s.
    pub filter_delay_s: Option<f64>,
    /// Sum of the stages at their shortest, s.
    pub reaction_min_s: f64,
    /// Sum of the stages at their longest, s.
    pub reaction_max_s: f64,
    /// From the fault to the interruption at the earliest, s.
    pub interruption_min_s: Option<f64>,
    /// From the fault to the interruption at the latest, s; absent when the threshold may not be reached.
    pub interruption_max_s: Option<f64>,
    /// Every stage.
    pub stages: Vec<RaceStage>,
    /// Current at the latest interruption, A. It rises unopposed while the switch opens.
    pub opening_current_a: Option<f64>,
    /// Current at the earliest interruption, A.
    pub opening_current_min_a: Option<f64>,
    /// Energy stored in the loop at the latest interruption, ½ L i², J.
    pub stored_energy_j: Option<f64>,
    /// Current at the latest interruption if it had started from zero at the same moment, A: a convention that leaves out
    /// the current before the fault.
    pub opening_current_from_zero_a: Option<f64>,
    /// Energy stored in the loop by the same convention, J.
    pub stored_energy_from_zero_j: Option<f64>,
    /// Opening against the clamp; absent when it is not given or stands too low.
    pub clamp: Option<Clamp>,
    /// What passes until the latest interruption, counted from zero current, A²s.
    pub let_through_a2s: Option<f64>,
    /// The same counted from the current before the fault, A²s.
    pub let_through_from_before_a2s: Option<f64>,
    /// When the current is zero after the latest interruption, s; absent without a clamp.
    pub zero_current_s: Option<f64>,
    /// What passes until then, counted from the current before the fault, A²s.
    pub let_through_to_zero_a2s: Option<f64>,
    /// The fuse at the strongest fault.
    pub fuse: Option<RaceFuse>,
    /// The strings at the strongest fault; absent without parallel strings.
    pub strings: Option<RaceStrings>,
    /// Who opens first at the strongest fault.
    pub opens_first: Opener,
    /// Who opens first at the weakest fault.
    pub opens_first_weakest: Opener,
    /// The largest current that the switch may have to break at any fault from the weakest to the strongest, A.
    pub must_break_a: Option<f64>,
    /// The most that passes at any fault from the weakest to the strongest until its current is surely zero, A²s; absent when
    /// at one of them nothing bounds it, or it is not known.
    pub worst_let_through_a2s: Option<f64>,
    /// The prospective current of that fault, A; the largest one of those at which nothing bounds it.
    pub worst_fault_a: f64,
    /// The most that flows backwards through the devices of a string with a fault inside, A; absent without parallel strings.
    pub reverse_a: Option<f64>,
    /// The most that the fuse may have to break, A; absent where the switch is always first.
    pub fuse_breaks_a: Option<f64>,
    /// The longest that a fault may last, s; absent where it is not known.
    pub longest_s: Option<f64>,
    /// The link capacitor into a short on the pack's side; absent without one.
    pub link: Option<RaceLink>,
    /// The wiring's adiabatic limit.
    pub wiring: Option<RaceWiring>,
    /// The currents at which nobody opens, or the switch opens beyond its breaking capacity.
    pub nobody: Vec<NobodyInterval>,
    /// Current and let-through over time, at the strongest fault.
    pub course: Vec<RacePoint>,
    /// Times over the prospective current.
    pub coordination: Vec<CoordinationPoint>,
}

/// What the link capacitor drives into a short on the pack's side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceLink {
    /// The peak, A; absent without any resistance and inductance.
    pub peak_a: Option<f64>,
    /// What passes, A²s; absent without any resistance.
    pub let_through_a2s: Option<f64>,
    /// The peak where other strings or units feed the same fault, A; absent where nothing else does.
    pub with_others_a: Option<f64>,
    /// What passes with theirs until that fault is over, A²s; absent where nothing else feeds it, or its end is not known.
    pub with_others_a2s: Option<f64>,
    /// The most that flows backwards when the switch opens, A; absent where the link is empty before.
    pub opened_a: Option<f64>,
}

/// A fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceFault {
    /// Voltage, V.
    pub voltage_v: f64,
    /// Resistance of the loop, Ω.
    pub resistance_ohm: f64,
    /// Prospective current, A.
    pub prospective_a: f64,
    /// Time constant of the loop, s.
    pub time_constant_s: f64,
    /// First rise of the current, A/s; absent without an inductance.
    pub initial_rise_a_per_s: Option<f64>,
}

/// A stage of the reaction.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceStage {
    /// Its name.
    pub name: String,
    /// At least, s.
    pub shortest_s: Option<f64>,
    /// At most, s.
    pub longest_s: Option<f64>,
    /// From the fault to its end, at the earliest, s.
    pub ends_min_s: Option<f64>,
    /// From the fault to its end, at the latest, s.
    pub ends_max_s: Option<f64>,
    /// Current at its latest end, A.
    pub current_a: Option<f64>,
}

/// The fuse at one fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceFuse {
    /// When the constant pre-arc I²t is reached, counted from zero current, s; absent where points are given.
    pub prearc_s: Option<f64>,
    /// Melted at the earliest: tolerance, pre-load, from the highest current before the fault, s.
    pub prearc_min_s: f64,
    /// Melted at the latest: tolerance, from the lowest current before, s; absent where it is not known.
    pub prearc_max_s: Option<f64>,
    /// Cleared at the latest, s; absent where it is not known.
    pub cleared_max_s: Option<f64>,
    /// What passes until it has cleared, at most, A²s; absent where it is not known.
    pub clearing_a2s: Option<f64>,
}

/// Who opens first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Opener {
    /// The switch, with every tolerance.
    Switch,
    /// The fuse, with every tolerance.
    Fuse,
    /// One or the other: the tolerances overlap.
    Either,
    /// Nothing opens for certain: the threshold may not be reached and the fuse does not clear.
    Nothing,
    /// The threshold may not be reached, and what is given does not tell when the fuse melts.
    Unknown,
}

impl Opener {
    /// In a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Switch => "the switch opens first",
            Self::Fuse => "the fuse opens first",
            Self::Either => "either may open first",
            Self::Nothing => "nothing opens for certain",
            Self::Unknown => "who opens is not known",
        }
    }
}

/// The adiabatic limit of the wiring.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceWiring {
    /// k, A√s/mm².
    pub k: f64,
    /// k² S², A²s.
    pub limit_a2s: f64,
    /// Smallest cross-section for the worst let-through, mm².
    pub smallest_mm2: Option<f64>,
    /// Temperature of the conductor at the end of the worst let-through, °C; absent where it melts.
    pub end_degc: Option<f64>,
}

/// An interval of prospective currents in which nothing interrupts as rated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct NobodyInterval {
    /// Why.
    pub reason: NobodyReason,
    /// From this prospective current, A.
    pub from_a: f64,
    /// To this prospective current, A.
    pub to_a: f64,
}

/// Why nobody interrupts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NobodyReason {
    /// The threshold may not be reached and the fuse does not clear.
    NothingOpens,
    /// The switch may open first, with more than it can break.
    BeyondBreaking,
    /// What is given does not tell.
    NotJudged,
}

impl NobodyReason {
    /// In a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NothingOpens => "nothing opens for certain",
            Self::BeyondBreaking => "the switch may open beyond its breaking capacity",
            Self::NotJudged => "what is given does not tell whether somebody opens",
        }
    }
}

/// A point of the course.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RacePoint {
    /// After the fault, s.
    pub time_s: f64,
    /// Current, A.
    pub current_a: f64,
    /// Let-through from the current before the fault, A²s.
    pub let_through_a2s: f64,
}

/// A point of the co-ordination.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct CoordinationPoint {
    /// Prospective current, A.
    pub prospective_a: f64,
    /// Interruption by the switch at the latest, s.
    pub switch_s: Option<f64>,
    /// The fuse melts at the earliest, s.
    pub fuse_min_s: Option<f64>,
    /// The fuse has melted at the latest, s.
    pub fuse_max_s: Option<f64>,
    /// The fuse has cleared at the latest, s.
    pub fuse_cleared_s: Option<f64>,
    /// The wiring's adiabatic limit as a time at this current, s.
    pub wiring_s: Option<f64>,
    /// The shunt's pulse limit as a time at this current, s.
    pub shunt_s: Option<f64>,
}
