//! What a discharge takes.

use super::decay::Path;
use super::link::Link;
use crate::field::{defaulted, group, number, optional, whole, yes_no};
use crate::input;
use crate::numeric::where_largest;
use crate::quantity::Unit;

crate::choice! {
    /// What discharges the link on demand.
    pub enum ActiveKind {
        None = "none", "Nothing";
        Resistor = "resistor", "A switched resistor";
        Current = "constant-current", "A constant current";
        Power = "constant-power", "A constant power";
    }
}

input! {
    /// The discharge on demand.
    pub struct ActiveDischarge {
        kind: ActiveKind = ActiveKind::Resistor.chosen(), "", "Active discharge", "What is switched on to discharge the link.";
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-2, 1e9, 600.0), "Ra", "Resistor", "Nominal.";
        current_a: f64 = defaulted(Unit::Ampere, 1e-6, 1e4, 1.0), "Ia", "Current", "Of an electronic load, nominal.";
        power_w: f64 = defaulted(Unit::Watt, 1e-6, 1e7, 500.0), "Pa", "Power", "Of an electronic load, nominal.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 5.0), "ta", "Tolerance", "Half-width, of the value above.";
        limit_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 5.0), "tla", "Allowed time", "To the voltage that must be reached; 5 s is from memory.";
        pulse_j: Option<f64> = optional(Unit::Joule, 1e-6, 1e9), "Ep", "Rated pulse energy", "Of the resistor; leave empty if unknown.";
    }
}

input! {
    /// The bleeder, which is always there.
    pub struct PassiveDischarge {
        fitted: bool = yes_no(true), "", "Bleeder fitted", "Whether a resistance is always across the link.";
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1.0, 1e12, 25e3), "Rb", "Bleeder", "Nominal.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0).like(5.0), "tb", "Tolerance", "Half-width.";
        limit_s: f64 = defaulted(Unit::Second, 1e-6, 1e7, 120.0), "tlb", "Allowed time", "To the voltage that must be reached; 120 s is from memory.";
        power_w: Option<f64> = optional(Unit::Watt, 1e-6, 1e6), "Pb", "Rated power", "Of the bleeder, at its ambient; leave empty if unknown.";
    }
}

crate::choice! {
    /// What feeds the link meanwhile.
    pub enum FeedKind {
        None = "none", "Nothing";
        Current = "constant-current", "A constant current";
        Power = "constant-power", "A constant power";
    }
}

input! {
    /// What feeds the link meanwhile.
    pub struct LinkFeed {
        kind: FeedKind = FeedKind::None.chosen(), "", "Source on the link", "What goes on feeding the link when the pack is off.";
        current_a: f64 = defaulted(Unit::Ampere, 1e-9, 1e4, 0.1), "If", "Its current", "Of a source of constant current.";
        power_w: f64 = defaulted(Unit::Watt, 1e-9, 1e7, 50.0), "Pf", "Its power", "Of a converter that feeds back.";
        for_s: Option<f64> = optional(Unit::Second, 1e-6, 1e7), "Tf", "It feeds for", "From the opening on; leave empty if it does not stop.";
        back_emf_v: Option<f64> = optional(Unit::Volt, 1e-2, 5000.0), "E", "Back-EMF", "Rectified, of a machine that still turns at the opening; leave empty without one.";
        stop_s: Option<f64> = optional(Unit::Second, 1e-3, 1e5), "Ts", "Until the machine stands", "Longest; the back-EMF is taken to fall in a straight line.";
        link_rated_v: Option<f64> = optional(Unit::Volt, 1.0, 1e4), "Vr", "Rated voltage of the link", "For a link that is lifted above the pack; leave empty if unknown.";
    }
}

crate::choice! {
    /// How the two readings of the weld test hang together.
    pub enum WeldReadings {
        Unrelated = "unrelated", "Unrelated: each may be wrong either way";
        Same = "one-channel", "One channel, read twice: offset and gain are the same";
    }
}

crate::choice! {
    /// In which order two contactors open.
    pub enum WeldSequence {
        One = "one", "One contactor";
        Together = "together", "Two, together";
        Fixed = "fixed", "Two, always the same one first";
        Turns = "in-turn", "Two, one after the other, each first in turn";
    }
}

crate::choice! {
    /// What the other units on the bus do while the weld of one is tested.
    pub enum OtherUnits {
        Unsaid = "unsaid", "Not said";
        Open = "open", "Open: all units are off";
        Closed = "closed", "Closed: they hold the bus";
    }
}

/// Time of a weld test of which nothing is said, s.
const TEST_S: f64 = 1.0;

input! {
    /// The test of a welded contactor by the decay of the link.
    pub struct WeldCheck {
        reading_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e3).like(1.0), "e", "Error of one reading", "Half-width, at the link voltage; of one channel what differs from reading to reading: noise, rounding, non-linearity. Leave empty without this test.";
        time_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, TEST_S), "tw", "Time of the test", "From the opening to the second reading.";
        readings: WeldReadings = WeldReadings::Unrelated.chosen(), "", "The two readings", "How their errors hang together.";
        gain_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0).like(0.5), "g", "Gain error", "Of the one channel; it takes its share of the drop.";
        pack_change_v: f64 = defaulted(Unit::Volt, 0.0, 1e3, 0.0).like(1.0), "dVp", "Fall of the pack meanwhile", "How far the pack's voltage may relax: a welded link follows it.";
        level_v: Option<f64> = optional(Unit::Volt, 1e-3, 5e3), "Lw", "Level", "A drop below it is called a weld; leave empty to have it proposed.";
        sequence: WeldSequence = WeldSequence::One.chosen(), "", "Contactors open", "One of two that is welded shows only when they open one after the other.";
        others: OtherUnits = OtherUnits::Unsaid.chosen(), "", "The other units meanwhile", "Of several on the bus: a link that others hold does not decay.";
    }
}

input! {
    /// Everything a discharge takes.
    pub struct DischargeInput {
        start_v: f64 = number(Unit::Volt, 1e-2, 5000.0, 831.6), "V0", "Link voltage at the start", "Highest.";
        start_min_v: Option<f64> = optional(Unit::Volt, 1e-2, 5000.0), "Vmin", "Lowest link voltage at the start", "For the weld test; leave empty: the same.";
        safe_v: f64 = number(Unit::Volt, 1e-3, 1500.0, 60.0), "Vs", "Voltage to be reached", "60 V is from memory: check the document that applies.";
        capacitance_farad: f64 = number(Unit::Farad, 1e-9, 10.0, 900e-6), "C", "Link capacitance", "Nominal, of everything on the link.";
        capacitance_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0).like(10.0), "tC", "Tolerance of the capacitance", "Half-width; 0 if the value above is the upper limit: where a feed lifts the link nothing of it is then judged.";
        active: ActiveDischarge = group::<ActiveDischarge>(), "", "Active discharge", "Switched on to discharge.";
        passive: PassiveDischarge = group::<PassiveDischarge>(), "", "Passive discharge", "Always connected.";
        feed: LinkFeed = group::<LinkFeed>(), "", "Sources meanwhile", "What feeds the link when the pack is off.";
        units_in_parallel: u32 = whole(Unit::One, 1, 64, 1), "N", "Units on the bus", "All that feed this link: it discharges when the last one is off.";
        weld: WeldCheck = group::<WeldCheck>(), "", "Test for a welded contactor", "The link must decay when the contactor has opened.";
    }
}

impl DischargeInput {
    /// The largest capacitance, F.
    pub(super) fn largest_farad(&self) -> f64 {
        self.capacitance_farad * (1.0 + self.capacitance_tolerance_percent / 100.0)
    }

    /// The smallest capacitance, F: a feed lifts it most.
    pub(super) fn smallest_farad(&self) -> f64 {
        self.capacitance_farad * (1.0 - self.capacitance_tolerance_percent / 100.0)
    }

    /// The largest value over the capacitances that the tolerance allows. Unfed, the largest takes longest and keeps most.
    pub(super) fn over_farad(&self, of: impl Fn(f64) -> f64) -> f64 {
        of(if self.feed.kind == FeedKind::None { self.largest_farad() } else { self.worst_farad(&of) })
    }

    /// Where such a value is largest, F. What a feed lifts a small one to may take longer to come down.
    pub(super) fn worst_farad(&self, of: impl Fn(f64) -> f64) -> f64 {
        where_largest(self.smallest_farad(), self.largest_farad(), &[], of)
    }

    /// The lowest start voltage, V.
    pub(super) fn lowest_v(&self) -> f64 {
        self.start_min_v.unwrap_or(self.start_v)
    }

    /// The back-EMF counts only above the voltage to be reached, V.
    pub(super) fn emf_v(&self) -> f64 {
        self.feed.back_emf_v.unwrap_or(0.0)
    }

    /// Whether anything is said of the weld test beyond what stands there of itself.
    pub(super) fn tests_weld(&self) -> bool {
        let weld = &self.weld;
        weld.reading_error_v.is_some()
            || weld.level_v.is_some()
            || weld.gain_percent.is_some()
            || weld.pack_change_v > 0.0
            || weld.readings != WeldReadings::Unrelated
            || weld.sequence != WeldSequence::One
            || weld.others != OtherUnits::Unsaid
            || weld.time_s != TEST_S
    }

    /// The lowest resistance of the bleeder, where one is fitted.
    pub(super) fn bleeder_ohm(&self) -> Option<f64> {
        let passive = &self.passive;
        passive.fitted.then(|| passive.resistance_ohm * (1.0 - passive.tolerance_percent / 100.0))
    }

    /// Whether other units hold the link while the weld of one is tested; unknown where nobody said.
    pub(super) fn held(&self) -> Option<bool> {
        match self.weld.others {
            _ if self.units_in_parallel < 2 => Some(false),
            OtherUnits::Unsaid => None,
            OtherUnits::Open => Some(false),
            OtherUnits::Closed => Some(true),
        }
    }

    /// Until when something feeds the link, s.
    ///
    /// # Errors
    /// It does not stop, or nobody says when: the input that would.
    pub(super) fn fed_until_s(&self) -> Result<f64, &'static str> {
        let feed = &self.feed;
        let source = if feed.kind == FeedKind::None { Some(0.0) } else { feed.for_s };
        let machine = if feed.back_emf_v.is_some() { feed.stop_s } else { Some(0.0) };
        Ok(source.ok_or("/feed/for_s")?.max(machine.ok_or("/feed/stop_s")?))
    }

    /// What a verdict on the time needs and does not have.
    pub(super) fn unknown(&self) -> Option<&'static str> {
        (self.emf_v() > self.safe_v && self.feed.stop_s.is_none()).then_some("/feed/stop_s")
    }

    /// The link with a way to discharge it, at its largest.
    pub(super) fn link(&self, own: Path) -> Link {
        self.link_of(self.largest_farad(), own)
    }

    /// The same at another capacitance, F.
    pub(super) fn link_of(&self, farad: f64, own: Path) -> Link {
        let feed = match self.feed.kind {
            FeedKind::None => Path::NONE,
            FeedKind::Current => Path { ampere: -self.feed.current_a, ..Path::NONE },
            FeedKind::Power => Path { watt: -self.feed.power_w, ..Path::NONE },
        };
        let stop_s = self.feed.stop_s.unwrap_or(f64::INFINITY);
        let feed_s = self.feed.for_s.unwrap_or(f64::INFINITY);
        Link { farad, own, feed, feed_s, emf_v: self.emf_v(), stop_s }
    }

    /// Whether anything but the capacitor feeds what discharges it.
    pub(super) fn is_fed(&self) -> bool {
        self.feed.kind != FeedKind::None || self.emf_v() > 0.0
    }

    /// The active discharge with its value changed by a share towards slower.
    pub(super) fn active_slower(&self, by: f64) -> Option<Path> {
        match self.active.kind {
            ActiveKind::None => None,
            ActiveKind::Resistor => Some(Path { ohm: Some(self.active.resistance_ohm * (1.0 + by)), ..Path::NONE }),
            ActiveKind::Current => Some(Path { ampere: self.active.current_a * (1.0 - by), ..Path::NONE }),
            ActiveKind::Power => Some(Path { watt: self.active.power_w * (1.0 - by), ..Path::NONE }),
        }
    }

    /// The active discharge at its slowest.
    pub(super) fn active_slowest(&self) -> Option<Path> {
        self.active_slower(self.active.tolerance_percent / 100.0)
    }

    /// The active discharge at its fastest, where it takes most power.
    pub(super) fn active_fastest(&self) -> Option<Path> {
        self.active_slower(-self.active.tolerance_percent / 100.0)
    }

    /// The bleeder with its resistance changed by a share.
    pub(super) fn passive_slower(&self, by: f64) -> Option<Path> {
        self.passive.fitted.then_some(Path { ohm: Some(self.passive.resistance_ohm * (1.0 + by)), ..Path::NONE })
    }

    /// The bleeder at its slowest.
    pub(super) fn passive_slowest(&self) -> Option<Path> {
        self.passive_slower(self.passive.tolerance_percent / 100.0)
    }
}
