//! What the thermistor calculations take: the sensor's curve, the read-out, the converter and what surrounds the sensor.

use crate::channel::JudgedBy;
use crate::field::{defaulted, group, list, number, numbers, optional, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

pub use super::platinum::{Build, Nominal, ToleranceClass};

crate::choice! {
    /// How the sensor's curve is given.
    pub enum CurveKind {
        Beta = "beta", "Thermistor: R25 and beta";
        SteinhartHart = "steinhart-hart", "Thermistor: Steinhart-Hart";
        Points = "points", "Thermistor: measured points";
        Platinum = "platinum", "Platinum sensor (IEC 60751)";
    }
}

input! {
    /// A thermistor by its beta.
    pub struct Beta {
        r25_ohm: f64 = defaulted(Unit::Ohm, 10.0, 1e7, 10e3), "R25", "Resistance at 25 °C", "Of the thermistor.";
        beta_k: f64 = defaulted(Unit::Kelvin, 500.0, 8000.0, 3435.0), "B", "Beta", "Of the pair of temperatures nearest to the range; B25/50 and B25/85 differ.";
        r25_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 30.0, 1.0), "tR", "Tolerance of R25", "Half-width at 25 °C.";
        beta_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 1.0), "tB", "Tolerance of beta", "Half-width.";
        curve_k: Option<f64> = optional(Unit::Kelvin, 0.0, 20.0).like(0.5), "eB", "Curve off the beta law", "Half-width over the range: how far the part's own table leaves the curve of one beta, 0.2 K to 1.5 K some tens of kelvin from its pair. Empty when not known.";
    }
}

input! {
    /// A thermistor by its three coefficients, for ln of the resistance in ohm and kelvin.
    pub struct SteinhartHartInput {
        a: f64 = defaulted(Unit::One, -0.1, 0.1, 7.495_577e-4), "A", "Coefficient A", "In 1/K.";
        b: f64 = defaulted(Unit::One, -0.1, 0.1, 2.791_203e-4), "B", "Coefficient B", "In 1/K, of ln(R/Ω).";
        c: f64 = defaulted(Unit::One, -1e-3, 1e-3, 4.308_9e-8), "C", "Coefficient C", "In 1/K, of ln³(R/Ω). Give every digit: four digits cost a tenth of a kelvin.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 30.0, 1.0), "tR", "Tolerance of the resistance", "Half-width, the same at every temperature.";
        tolerance_k: f64 = defaulted(Unit::Kelvin, 0.0, 20.0, 0.0).like(0.2), "tT", "Tolerance of the curve", "Half-width in kelvin, for parts that are sold so.";
    }
}

input! {
    /// A row of a resistance table.
    pub struct TableRow {
        degc: f64 = number(Unit::Celsius, -100.0, 400.0, 25.0), "T", "Temperature", "Of the sensor.";
        resistance_ohm: f64 = number(Unit::Ohm, 1.0, 1e9, 1e4), "R", "Resistance", "At that temperature.";
    }
}

input! {
    /// A thermistor by its table.
    pub struct Points {
        rows: Vec<TableRow> = list::<TableRow>(0, 500, "-40 239.8k\n-30 132.68k\n-20 76.676k\n-10 46.076k\n0 28.677k\n10 18.422k\n20 12.178k\n25 10k\n30 8.2626k\n40 5.7403k\n50 4.0751k\n60 2.9507k\n70 2.1757k\n80 1.6311k\n90 1.2418k\n100 958.91\n110 750.23\n125 531"), "", "Table", "One point a line: temperature, resistance. At least three.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 30.0, 1.0), "tR", "Tolerance of the resistance", "Half-width, the same at every temperature.";
        tolerance_k: f64 = defaulted(Unit::Kelvin, 0.0, 20.0, 0.0).like(0.2), "tT", "Tolerance of the curve", "Half-width in kelvin, for parts that are sold so.";
    }
}

input! {
    /// A platinum sensor.
    pub struct Platinum {
        nominal: Nominal = Nominal::Pt1000.chosen(), "R0", "Nominal value", "Resistance at 0 °C.";
        class: ToleranceClass = ToleranceClass::B.chosen(), "", "Tolerance class", "Of IEC 60751.";
        build: Build = Build::Film.chosen(), "", "Build", "Sets the range in which the class holds.";
    }
}

crate::choice! {
    /// How the resistance is read.
    pub enum ReadOutKind {
        Divider = "divider", "Divider with a fixed resistor";
        Oscillator = "oscillator", "Oscillator, by its frequency";
        Current = "current", "Constant current";
    }
}

crate::choice! {
    /// Where the sensor sits in the divider.
    pub enum Side {
        Low = "low", "Sensor at ground, fixed resistor above";
        High = "high", "Sensor at supply, fixed resistor below";
    }
}

input! {
    /// A divider with a fixed resistor.
    pub struct Divider {
        fixed_ohm: f64 = defaulted(Unit::Ohm, 10.0, 1e7, 10e3), "Rf", "Fixed resistor", "In series with the sensor.";
        fixed_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.1), "tf", "Tolerance of the fixed resistor", "Half-width; it counts like that of R25.";
        fixed_tcr_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 5000.0, 25.0), "af", "Temperature coefficient of the fixed resistor", "Half-width.";
        side: Side = Side::Low.chosen(), "", "Place of the sensor", "At ground a thermistor gives less voltage when warm.";
        supply_v: f64 = defaulted(Unit::Volt, 0.1, 60.0, 3.3), "Vs", "Supply", "Across both.";
        ratiometric: bool = yes_no(true), "", "Ratiometric", "The converter's reference is this supply.";
        reference_error_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 1.0), "er", "Error of supply against reference", "Half-width; without effect when ratiometric.";
    }
}

crate::choice! {
    /// How the frequency is counted.
    pub enum Counting {
        Gated = "gated", "Periods inside a gate time";
        Reciprocal = "reciprocal", "Clock ticks over whole periods";
    }
}

input! {
    /// An RC oscillator with the sensor as its resistor.
    pub struct Oscillator {
        k: f64 = defaulted(Unit::One, 0.01, 10.0, std::f64::consts::LN_2 * 2.0), "k", "Period over RC", "2 ln 2 for thresholds at 1/3 and 2/3 of the supply; 2 ln((1 + b)/(1 − b)) for a feedback share b.";
        threshold_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.1), "ek", "Error of k", "Half-width, thresholds over temperature and life.";
        capacitance_farad: f64 = defaulted(Unit::Farad, 1e-12, 1e-3, 10e-9), "C", "Capacitance", "Of the timing capacitor.";
        capacitance_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 5.0), "tC", "Tolerance of the capacitance", "Half-width.";
        capacitance_tcr_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 30_000.0, 30.0), "aC", "Temperature coefficient of the capacitance", "Half-width; 30 for good ceramics, thousands for others.";
        comparator_delay_s: f64 = defaulted(Unit::Second, 0.0, 0.1, 100e-9), "td", "Comparator delay", "It lengthens each half period.";
        delay_spread_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 30.0), "std", "Spread of the delay", "Half-width.";
        delay_corrected: bool = yes_no(true), "", "Delay subtracted", "Firmware takes 2 td off the period.";
        counting: Counting = Counting::Gated.chosen(), "", "Counting", "Of periods or of clock ticks.";
        gate_s: f64 = defaulted(Unit::Second, 1e-6, 100.0, 0.1), "tg", "Gate time", "For counting periods.";
        clock_hz: f64 = defaulted(Unit::Hertz, 1.0, 1e9, 1e6), "fclk", "Clock", "For counting its ticks.";
        periods: u32 = whole(Unit::One, 1, 1_000_000, 16), "n", "Periods", "Over which the ticks are counted.";
        clock_error_ppm: f64 = defaulted(Unit::Ppm, 0.0, 1e5, 50.0), "ef", "Clock error", "Half-width.";
        reference_ohm: Option<f64> = optional(Unit::Ohm, 10.0, 1e7), "Rref", "Reference resistor", "Measured in the same oscillator: its ratio cancels k and C. Empty without one.";
        reference_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.1), "tref", "Tolerance of the reference resistor", "Half-width.";
        reference_tcr_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 5000.0, 25.0), "aref", "Temperature coefficient of the reference resistor", "Half-width.";
        supply_v: f64 = defaulted(Unit::Volt, 0.1, 60.0, 3.3), "Vs", "Supply", "For the self-heating.";
    }
}

input! {
    /// A constant current.
    pub struct CurrentSource {
        current_a: f64 = defaulted(Unit::Ampere, 1e-7, 0.1, 100e-6), "I", "Current", "Through the sensor.";
        error_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.2), "eI", "Error of the current", "Half-width, against the converter's reference.";
        drift_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 5000.0, 25.0), "aI", "Drift of the current", "Half-width.";
    }
}

input! {
    /// The converter behind the divider or the current source.
    pub struct SensorConverter {
        bits: u32 = whole(Unit::Bit, 6, 24, 12), "N", "Resolution", "Of the output code.";
        full_scale_v: f64 = defaulted(Unit::Volt, 1e-3, 60.0, 3.3), "FS", "Full scale", "Voltage of the largest code plus one; the supply itself when ratiometric.";
        offset_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(1e-3), "Vos", "Offset", "Half-width.";
        gain_error_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.0).like(0.2), "eg", "Gain error", "Half-width.";
        inl_lsb: f64 = defaulted(Unit::One, 0.0, 1e5, 2.0), "INL", "Integral non-linearity", "Half-width, in steps of the converter.";
        noise_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(0.5e-3), "un", "Noise", "Root mean square of a single result; shown apart.";
    }
}

input! {
    /// What life adds to the tolerances.
    pub struct Ageing {
        sensor_percent: f64 = defaulted(Unit::Percent, 0.0, 30.0, 0.0).like(1.0), "aR", "Of the sensor", "Of its resistance over its life, half-width.";
        part_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(0.5), "af", "Of the fixed part", "Fixed resistor, capacitance, reference resistor or measuring current, half-width.";
        reference_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.0).like(0.1), "ar", "Of the reference", "Supply against reference, thresholds of the oscillator or the converter's reference, half-width; without effect where it cancels.";
    }
}

input! {
    /// Self-heating and time constant.
    pub struct Body {
        dissipation_w_per_k: f64 = defaulted(Unit::WattPerKelvin, 1e-5, 1.0, 1.5e-3), "δ", "Dissipation constant", "As mounted; still air and glued to a cell differ five times.";
        duty_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "D", "Powered for", "Share of the time, in pulses shorter than the time constant. At switch-on the sensor is cold.";
        time_constant_s: f64 = defaulted(Unit::Second, 1e-3, 1e4, 12.0), "τ", "Time constant", "As mounted.";
        ramp_k_per_s: f64 = defaulted(Unit::KelvinPerSecond, 0.0, 1e3, 0.3), "dT/dt", "Fastest ramp", "Of what is measured, up or down.";
    }
}

input! {
    /// The way from the cell to the sensor.
    pub struct Cell {
        thermal_resistance_k_per_w: f64 = defaulted(Unit::KelvinPerWatt, 0.0, 1e3, 0.8), "Rth", "Cell to sensor", "Thermal resistance.";
        heat_flow_w: f64 = defaulted(Unit::Watt, 0.0, 1e4, 4.0), "P", "Heat flow", "From the cell past the sensor.";
    }
}

input! {
    /// The wires.
    pub struct Wiring {
        lead_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e5, 0.0).like(1.0), "Rw", "Lead resistance", "Both ways together; zero with four wires.";
        leakage_ohm: Option<f64> = optional(Unit::Ohm, 1e3, 1e13).like(10e6), "RL", "Leakage across the sensor", "Insulation, wet connector: the lowest there is. It comes and goes; empty if none.";
    }
}

input! {
    /// What was read: which temperature does it stand for?
    pub struct Read {
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-2, 1e10), "R", "Resistance", "Measured at the sensor.";
        voltage_v: Option<f64> = optional(Unit::Volt, 0.0, 60.0), "V", "Voltage", "Measured at the converter; without effect with an oscillator.";
        code: Option<f64> = optional(Unit::One, 0.0, 1e12), "N", "Code or count", "From a log.";
    }
}

input! {
    /// What is required.
    pub struct TemperatureRequirement {
        allowed_k: Option<f64> = optional(Unit::Kelvin, 1e-3, 100.0), "e", "Allowed error", "Over the whole range; empty when there is no requirement.";
        from_degc: Option<f64> = optional(Unit::Celsius, -200.0, 850.0), "", "From", "The requirement counts from here; empty for the coldest of the sensor's range.";
        to_degc: Option<f64> = optional(Unit::Celsius, -200.0, 850.0), "", "To", "The requirement counts up to here; empty for the hottest of the sensor's range.";
        with_lag_and_gradient: bool = yes_no(false), "", "Lag and gradient count", "Against the cell instead of the sensor: heating and cooling, with and without heat from the cell.";
        judged_by: JudgedBy = JudgedBy::WorstCase.chosen(), "", "Judged by", "Worst case for every protective function.";
    }
}

input! {
    /// The numerical experiment at each point of interest.
    pub struct Trials {
        trials: u32 = whole(Unit::One, 1_000, 1_000_000, 100_000), "M", "Trials", "Of the Monte Carlo run at each point.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Same seed, same numbers.";
    }
}

input! {
    /// Everything the temperature channel takes.
    pub struct ThermistorInput {
        curve: CurveKind = CurveKind::Beta.chosen(), "", "Sensor", "Its values are taken from the group of the same name.";
        beta: Beta = group::<Beta>(), "", "Beta", "Used when the sensor is given by R25 and beta.";
        steinhart_hart: SteinhartHartInput = group::<SteinhartHartInput>(), "", "Steinhart-Hart", "Used when the sensor is given by Steinhart-Hart coefficients.";
        points: Points = group::<Points>(), "", "Measured points", "Used when the sensor is given by measured points.";
        platinum: Platinum = group::<Platinum>(), "", "Platinum sensor", "Used when the sensor is a platinum sensor.";
        read_out: ReadOutKind = ReadOutKind::Divider.chosen(), "", "Read-out", "Its values are taken from the group of the same name.";
        divider: Divider = group::<Divider>(), "", "Divider", "Used when the read-out is a divider.";
        oscillator: Oscillator = group::<Oscillator>(), "", "Oscillator", "Used when the read-out is an oscillator.";
        current: CurrentSource = group::<CurrentSource>(), "", "Constant current", "Used when the read-out is a constant current.";
        converter: SensorConverter = group::<SensorConverter>(), "", "Converter", "Used when the read-out is a divider or a constant current.";
        electronics_span_k: f64 = defaulted(Unit::Kelvin, 0.0, 200.0, 40.0), "ΔTe", "Electronics away from 25 °C", "By how much at most: temperature coefficients count over it.";
        electronics_min_degc: Option<f64> = optional(Unit::Celsius, -100.0, 200.0), "", "Coldest electronics", "Ambient of the read-out, whatever the sensor's temperature; empty for 25 °C less the span.";
        electronics_max_degc: Option<f64> = optional(Unit::Celsius, -100.0, 200.0), "", "Hottest electronics", "Empty for 25 °C and the span.";
        ageing: Ageing = group::<Ageing>(), "", "Ageing", "What life adds; zero where it is part of the tolerance.";
        body: Body = group::<Body>(), "", "Self-heating and time constant", "Self-heating and lag.";
        cell: Cell = group::<Cell>(), "", "Cell to sensor", "Gradient.";
        wiring: Wiring = group::<Wiring>(), "", "Wiring", "Leads and leakage.";
        min_degc: f64 = number(Unit::Celsius, -200.0, 850.0, -40.0), "Tmin", "Coldest", "Of the range.";
        max_degc: f64 = number(Unit::Celsius, -200.0, 850.0, 125.0), "Tmax", "Hottest", "Of the range.";
        points_degc: Vec<f64> = numbers(Unit::Celsius, -200.0, 850.0, 12, &[-30.0, 25.0, 60.0]), "T", "Points of interest", "Thresholds and limits, parted by spaces.";
        centre_degc: Option<f64> = optional(Unit::Celsius, -200.0, 850.0), "T0", "Fixed resistor for", "Where it is to be most sensitive or straightest; empty for the middle of the range.";
        reading: Read = group::<Read>(), "", "Temperature of a reading", "A resistance, a voltage or a code; empty when none is asked for.";
        requirement: TemperatureRequirement = group::<TemperatureRequirement>(), "", "Requirement", "Allowed error.";
        experiment: Trials = group::<Trials>(), "", "Monte Carlo", "Trials and seed.";
    }
}
