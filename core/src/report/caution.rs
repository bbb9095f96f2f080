//! Cautions that numbers make real: each limit beside its sentence.

use crate::quantity::{ampere, celsius};

/// Above this a direct voltage is commonly treated as dangerous to touch, V. UN Regulation No. 100 and ISO 6469-3 (from
/// memory: check the document that applies).
pub const TOUCH_SAFE_V: f64 = 60.0;

/// From this temperature on a surface burns at a touch, °C. Common practice, no source.
const HOT_DEGC: f64 = 70.0;

/// From this prospective current on an arc is a matter of its own, A. Common practice, no source.
const ARC_CURRENT_A: f64 = 1000.0;

/// What cells take when they are charged.
pub const CHARGING: &str = "Charging outside the cell maker's temperature and voltage range can lead to later internal short circuits and fire. The cell maker's limits prevail over anything on this page.";

/// A voltage that is dangerous to touch.
pub fn touch(voltage_v: f64) -> Option<String> {
    let told = "This pack exceeds the voltage commonly treated as touch-safe for direct current. Work on it only if you are qualified and authorised under the rules that apply at your site.";
    (voltage_v > TOUCH_SAFE_V).then(|| told.into())
}

/// A surface that burns.
pub fn surface(what: &str, hottest_degc: Option<f64>) -> Option<String> {
    let hot = celsius(hottest_degc.filter(|hot| *hot > HOT_DEGC)?);
    Some(format!("{what} near {hot} in the worst case: burn and fire risk; check neighbouring plastics and solder."))
}

/// A short circuit that can hold an arc.
pub fn arc(prospective_a: f64) -> Option<String> {
    let current = ampere(prospective_a);
    (prospective_a > ARC_CURRENT_A).then(|| {
        format!(
            "A short at these terminals would drive about {current} and can hold an arc that does not go out by itself. \
             Direct current has no zero crossing. Rated interruption and personal protection are decisions of a \
             qualified person."
        )
    })
}
