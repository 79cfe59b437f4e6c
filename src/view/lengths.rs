//! Lengths in metres, with feet beside them for whoever reads those. Files and formulas stay metric.
//!
//! How lengths are read belongs to the person, as a language does: it holds for all that this process says. 1 ft is
//! 0.3048 m exactly (international yard and pound agreement, 1959).

use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

use crate::plan::quantity::Metres;

static FEET: AtomicBool = AtomicBool::new(false);

/// From here on feet stand beside metres, or no longer.
pub fn show_feet(on: bool) {
    FEET.store(on, Relaxed);
}

/// "4.5 m", or "4.5 m (14.8 ft)"; `number`: the metres as they are told.
pub fn length(number: &str, metres: Metres) -> String {
    format!("{number} m{}", in_feet(metres, FEET.load(Relaxed)))
}

/// "0.15 m", "12.5 m (41 ft)": nobody measures a hall or a lead to the millimetre.
pub fn told(metres: Metres) -> String {
    let number = format!("{:.2}", metres.get());
    length(number.trim_end_matches('0').trim_end_matches('.'), metres)
}

/// For a column that is headed by its unit: "4.5", or "4.5 (14.8 ft)".
pub fn cell(number: &str, metres: Metres) -> String {
    format!("{number}{}", in_feet(metres, FEET.load(Relaxed)))
}

fn in_feet(metres: Metres, wanted: bool) -> String {
    let feet = metres.get() / Metres::FOOT.get();
    if !wanted || !feet.is_finite() {
        return String::new();
    }
    // A tenth is a finger's breadth, and of no use across a hall.
    if feet.abs() < 30.0 { format!(" ({feet:.1} ft)") } else { format!(" ({feet:.0} ft)") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn feet_stand_beside_metres_for_whoever_wants_them() {
        for (metres, told) in [(0.3048, " (1.0 ft)"), (4.5, " (14.8 ft)"), (15.0, " (49 ft)"), (0.0, " (0.0 ft)")] {
            assert_eq!(in_feet(Metres::new(metres), true), told);
            assert_eq!(in_feet(Metres::new(metres), false), "");
        }
        assert_eq!(in_feet(Metres::new(f64::NAN), true), "");
    }
}
