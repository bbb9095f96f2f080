//! What is asked of a profile: how its text is to be read, and which element and chain it goes through.

use crate::field::{FieldError, defaulted, group, list, number, optional, whole, yes_no};
use crate::quantity::Unit;
use crate::{choice, input};

choice! {
    /// What parts the columns.
    pub enum Separator {
        Recognised = "recognised", "Recognised";
        Comma = "comma", "Comma";
        Semicolon = "semicolon", "Semicolon";
        Tab = "tab", "Tab";
        Bar = "bar", "Vertical bar";
        Spaces = "spaces", "Spaces";
    }
}

choice! {
    /// What parts whole and fraction.
    pub enum DecimalSign {
        Recognised = "recognised", "Recognised";
        Point = "point", "Point";
        Comma = "comma", "Comma";
    }
}

choice! {
    /// How time is written.
    pub enum TimeUnit {
        Recognised = "recognised", "Recognised";
        Second = "second", "Seconds";
        Millisecond = "millisecond", "Milliseconds";
        Minute = "minute", "Minutes";
        Hour = "hour", "Hours";
    }
}

choice! {
    /// The unit of the current column.
    pub enum CurrentUnit {
        Recognised = "recognised", "Recognised";
        Ampere = "ampere", "A";
        Milliampere = "milliampere", "mA";
        Kiloampere = "kiloampere", "kA";
    }
}

choice! {
    /// The unit of the voltage column.
    pub enum VoltageUnit {
        Recognised = "recognised", "Recognised";
        Volt = "volt", "V";
        Millivolt = "millivolt", "mV";
    }
}

choice! {
    /// Which direction the file counts as positive.
    pub enum Sign {
        Recognised = "recognised", "Recognised";
        Discharge = "discharge-positive", "Discharge positive";
        Charge = "charge-positive", "Charge positive";
    }
}

choice! {
    /// What is done with time that steps back.
    pub enum Backward {
        Refuse = "refuse", "Refuse";
        NewSegment = "new-segment", "New segment";
    }
}

choice! {
    /// What is done with a gap.
    pub enum Gap {
        Integrate = "integrate", "Integrate";
        LeaveOut = "leave-out", "Leave out";
    }
}

choice! {
    /// What is done with a row that cannot be read.
    pub enum BadRow {
        Refuse = "refuse", "Refuse";
        LeaveOut = "leave-out", "Leave out";
    }
}

choice! {
    /// What the current does between two rows.
    pub enum Integration {
        Held = "held", "Held to the next row";
        Trapezoid = "trapezoid", "Straight to the next row";
    }
}

choice! {
    /// How a reading becomes a whole number of steps.
    pub enum Rounding {
        Nearest = "nearest", "To the nearest";
        Floor = "floor", "Down";
        TowardZero = "toward-zero", "Toward zero";
    }
}

choice! {
    /// Where the profile comes from: built in by formula, or a file.
    pub enum Built {
        MountainRescueCar = "mountain-rescue-car", "Mountain-rescue car";
        IslandBakeryVan = "island-bakery-van", "Island bakery van";
        LighthouseRelay = "lighthouse-relay", "Lighthouse relay";
        FunicularSummitBuffer = "funicular-summit-buffer", "Funicular buffer";
        CanalLibraryBike = "canal-library-bike", "Canal library bike";
        VineyardTractorCharger = "vineyard-tractor-charger", "Tractor charger";
        NightBusDrive = "night-bus-drive", "Night bus drive";
        File = "file", "A file";
    }
}

input! {
    /// How the text is read. What is left at "recognised" is found out, shown, and can be typed.
    pub struct Text {
        separator: Separator = Separator::Recognised.chosen(), "", "Separator", "What parts the columns.";
        decimal_sign: DecimalSign = DecimalSign::Recognised.chosen(), "", "Decimal sign", "What parts whole and fraction.";
        time_column: u32 = whole(Unit::One, 0, 256, 0), "", "Column of time", "Counted from 1; 0: recognised.";
        current_column: u32 = whole(Unit::One, 0, 256, 0), "", "Column of current", "Counted from 1; 0: recognised.";
        voltage_column: u32 = whole(Unit::One, 0, 256, 0), "", "Column of voltage", "Counted from 1; 0: recognised.";
        ambient_column: u32 = whole(Unit::One, 0, 256, 0), "", "Column of ambient temperature", "Counted from 1; 0: recognised.";
        voltage_used: bool = yes_no(true), "", "Voltage counts", "No: a column of voltage is passed over, and there is no energy.";
        time_unit: TimeUnit = TimeUnit::Recognised.chosen(), "", "Unit of time", "Of numbers without colons and dates.";
        current_unit: CurrentUnit = CurrentUnit::Recognised.chosen(), "", "Unit of current", "Of the column.";
        voltage_unit: VoltageUnit = VoltageUnit::Recognised.chosen(), "", "Unit of voltage", "Of the column.";
        sign: Sign = Sign::Recognised.chosen(), "", "Sign", "Which direction the file counts as positive.";
        row_period_s: Option<f64> = optional(Unit::Second, 1e-9, 1e6), "Δt", "Time from row to row", "For a file without time; leave empty otherwise.";
    }
}

input! {
    /// What is done with what is not as it should be.
    pub struct Handling {
        integration: Integration = Integration::Held.chosen(), "", "Between two rows", "What the current does there.";
        backward: Backward = Backward::Refuse.chosen(), "", "Time that steps back", "Refused, or the start of a new segment.";
        gap: Gap = Gap::Integrate.chosen(), "", "A gap", "Integrated as written, or left out.";
        gap_s: Option<f64> = optional(Unit::Second, 1e-9, 1e9), "", "What counts as a gap", "Empty: ten times the median of the first 1,000 intervals.";
        bad_row: BadRow = BadRow::Refuse.chosen(), "", "A row that cannot be read", "Refused, or left out: the row before it holds.";
    }
}

input! {
    /// A current that is watched.
    pub struct Limit {
        limit_a: f64 = number(Unit::Ampere, -1e6, 1e6, 300.0), "", "Current", "Above it when positive, below it when negative.";
    }
}

input! {
    /// The shunt element as one thermal node.
    pub struct Element {
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-7, 1.0).shown(35e-6), "R0", "Resistance", "At the reference temperature; empty: no element.";
        tcr_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, -10_000.0, 10_000.0, 0.0), "a", "Temperature coefficient", "Slope at the reference temperature, signed.";
        tcr_quadratic_ppm_per_k2: f64 = defaulted(Unit::PpmPerSquareKelvin, -100.0, 100.0, 0.0), "b", "Quadratic coefficient", "Curvature, signed.";
        reference_degc: f64 = defaulted(Unit::Celsius, -55.0, 150.0, 20.0), "Tref", "Reference temperature", "At which R_0 holds and the reading is right.";
        thermal_resistance_k_per_w: f64 = defaulted(Unit::KelvinPerWatt, 1e-3, 1e4, 5.0), "Rth", "Thermal resistance", "From element to ambient.";
        thermal_tau_s: f64 = defaulted(Unit::Second, 1e-3, 1e6, 20.0), "τ", "Thermal time constant", "Thermal resistance times heat capacity.";
        ambient_degc: f64 = defaulted(Unit::Celsius, -60.0, 200.0, 25.0), "Ta", "Ambient temperature", "Where the file has no column of it.";
    }
}

input! {
    /// The chain that reads the current. Every error is a half-width.
    pub struct Chain {
        offset_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5).shown(0.12), "I_0", "Offset", "Limit, same sign in both directions.";
        gain_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(0.5), "g", "Gain error", "Limit, common to both directions.";
        asymmetry_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0), "g_d − g_c", "Unequal gains", "Limit of the difference between discharge and charge.";
        bend_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0), "", "Non-linearity", "Limit; a value of its own in each direction.";
        emf_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0), "", "Thermal EMF", "Limit of the false current while the joints differ in temperature.";
        emf_at_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e6), "", "Thermal EMF is of", "The steady current that warms the joints so; empty: it is always there.";
        emf_tau_s: f64 = defaulted(Unit::Second, 1e-3, 1e6, 60.0), "", "Time constant of the joints", "With which their difference follows the loss.";
        clip_low_a: Option<f64> = optional(Unit::Ampere, -1e6, 0.0).shown(-700.0), "", "Lowest reading", "Empty: the range is not judged.";
        clip_high_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6).shown(700.0), "", "Highest reading", "Empty: the range is not judged.";
        step_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5).shown(0.02), "q", "Step", "Of the reading that is counted; 0: none.";
        rounding: Rounding = Rounding::Nearest.chosen(), "", "Rounding", "To a whole number of steps.";
        dead_band_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0), "b", "Dead band", "Readings below it count as nothing.";
        sample_s: Option<f64> = optional(Unit::Second, 1e-9, 3600.0).shown(0.01), "T_s", "Time of a sample", "Empty: the reading follows every row.";
        averaging: u32 = whole(Unit::One, 1, 65_536, 1), "n", "Samples of a reading", "Averaged before they are rounded.";
        period_s: Option<f64> = optional(Unit::Second, 1e-9, 1e6), "T", "Time of a reading", "Empty: samples times their time.";
        aperture_s: Option<f64> = optional(Unit::Second, 0.0, 1e6), "", "Aperture", "What is seen of each period; 0: one moment; empty: all of it.";
        noise_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5).shown(0.1), "s", "Noise", "Of one sample, effective value.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Of the noise that is drawn.";
    }
}

input! {
    /// All that is asked.
    pub struct ProfileInput {
        profile: Built = Built::MountainRescueCar.chosen(), "", "Profile", "One that is built in, or a file that is sent.";
        text: Text = group(), "", "How the text is read", "What is not typed is recognised and shown.";
        handling: Handling = group(), "", "What is not as it should be", "Steps back, gaps, rows that cannot be read.";
        limits: Vec<Limit> = list::<Limit>(0, 8, "300\n-100"), "", "Currents that are watched", "One a line: the time above a positive one, below a negative one.";
        element: Element = group(), "", "Shunt element", "One thermal node, as on the page of the shunt.";
        chain: Chain = group(), "", "Chain", "What the reading is made of; without any of it the reading is the current.";
    }
}

impl ProfileInput {
    /// Fields that contradict each other.
    pub fn contradictions(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        let text = &self.text;
        if text.row_period_s.is_some() && text.time_column != 0 {
            faults.push(FieldError::contradiction(
                "/text/row_period_s",
                "Time comes from its column or from the row: give one of the two.",
                "a column of time, or the time from row to row",
                "both",
            ));
        }
        if text.separator == Separator::Comma && text.decimal_sign == DecimalSign::Comma {
            faults.push(FieldError::contradiction(
                "/text/decimal_sign",
                "A comma cannot part the columns and the fraction alike.",
                "two different signs",
                "comma",
            ));
        }
        let columns = [
            ("/text/time_column", text.time_column),
            ("/text/current_column", text.current_column),
            ("/text/voltage_column", text.voltage_column),
            ("/text/ambient_column", text.ambient_column),
        ];
        for (index, (field, column)) in columns.iter().enumerate().filter(|(_, (_, column))| *column != 0) {
            if columns[..index].iter().any(|(_, other)| other == column) {
                let message = format!("Column {column} is named for two quantities.");
                faults.push(FieldError::contradiction(field, message, "another column", column));
            }
        }
        let chain = &self.chain;
        if chain.sample_s.is_none() {
            let needs = [
                ("/chain/averaging", chain.averaging > 1),
                ("/chain/period_s", chain.period_s.is_some()),
                ("/chain/aperture_s", chain.aperture_s.is_some()),
                ("/chain/noise_a", chain.noise_a.is_some_and(|noise| noise > 0.0)),
            ];
            faults.extend(needs.iter().filter(|(_, given)| *given).map(|(field, _)| {
                FieldError::contradiction(
                    field,
                    "This needs the time of a sample (`sample_s`).",
                    "with the time of a sample",
                    "without it",
                )
            }));
        }
        if let Some(period) = chain.period() {
            let message = "A reading does not see more than its period.";
            faults.extend(FieldError::above("/chain/aperture_s", message, chain.aperture_s, period, Unit::Second));
        }
        faults
    }
}

impl Chain {
    /// Whether a reading is the current itself.
    pub fn is_ideal(&self) -> bool {
        let none = |value: Option<f64>| value.unwrap_or_default() == 0.0;
        let limits = [self.asymmetry_percent, self.bend_a, self.emf_a, self.dead_band_a];
        [self.offset_a, self.gain_percent, self.step_a, self.noise_a].into_iter().all(none)
            && limits.iter().all(|limit| *limit == 0.0)
            && self.clip_low_a.is_none()
            && self.clip_high_a.is_none()
            && self.sample_s.is_none()
    }

    /// The time from reading to reading, s; none where the reading follows every row.
    pub fn period(&self) -> Option<f64> {
        self.period_s.or_else(|| Some(self.sample_s? * f64::from(self.averaging)))
    }
}
