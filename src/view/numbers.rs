//! Rounding and signs, once for all faces: levels to 0.1 dB with a true minus, silence as −∞, times as a clock.

use crate::units::{Db, Dbfs, Seconds};

/// "−12.3", "−∞".
pub fn level(level: Dbfs) -> String {
    if level.is_silence() { "−∞".into() } else { signed(level.get(), 1) }
}

/// "−12.3 dBFS".
pub fn dbfs(value: Dbfs) -> String {
    format!("{} dBFS", level(value))
}

/// A difference without its sign: "6 dB", "6.5 dB".
pub fn span(change: Db) -> String {
    let rounded = (change.get().abs() * 10.0).round() / 10.0;
    if rounded.fract() == 0.0 { format!("{rounded:.0} dB") } else { format!("{rounded:.1} dB") }
}

/// "−15…−9", whole decibels where they are whole.
pub fn window((low, high): (Dbfs, Dbfs)) -> String {
    let edge = |level: Dbfs| if level.get().fract() == 0.0 { signed(level.get(), 0) } else { signed(level.get(), 1) };
    format!("{}…{}", edge(low), edge(high))
}

/// "2:05", "1:02:05".
pub fn clock(at: Seconds) -> String {
    let whole = at.get().max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

/// "12 s".
pub fn seconds(span: Seconds) -> String {
    format!("{} s", (span.get() + 1e-9).floor())
}

/// With a true minus; −0 is 0.
fn signed(value: f64, decimals: usize) -> String {
    let scale = 10f64.powi(decimals as i32);
    let rounded = (value * scale).round() / scale + 0.0;
    format!("{rounded:.decimals$}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_and_signs() {
        assert_eq!(level(Dbfs::new(-3.14)), "−3.1");
        assert_eq!(level(Dbfs::new(-0.04)), "0.0");
        assert_eq!(level(Dbfs::SILENCE), "−∞");
        assert_eq!(span(Db::new(-6.0)), "6 dB");
        assert_eq!(span(Db::new(6.54)), "6.5 dB");
        assert_eq!(window((Dbfs::new(-15.0), Dbfs::new(-9.0))), "−15…−9");
        assert_eq!(clock(Seconds::new(3725.9)), "1:02:05");
        assert_eq!(clock(Seconds::new(65.0)), "1:05");
    }
}
