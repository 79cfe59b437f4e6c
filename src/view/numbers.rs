//! Rounding and signs, once for all faces: levels to 0.1 dB with a true minus, silence as −∞, times as a clock.
//!
//! Levels are re full scale, or, once it is known what the desk's 0 reads here, in the desk's own dB:
//! desk dB = dBFS − that reading.

use crate::units::{Db, Dbfs, Lufs, Seconds, Spl};

/// For machine-readable lines: rounded to 0.001; −∞ and NaN become `null`.
pub fn thousandths(value: f64) -> serde_json::Value {
    if value.is_finite() { serde_json::json!((value * 1000.0).round() / 1000.0 + 0.0) } else { serde_json::Value::Null }
}

const MINUS: &str = "−";
const SILENCE: &str = "−∞";

/// The scale that levels are told on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Scale {
    /// dB re full scale.
    #[default]
    FullScale,
    /// dB on the desk's own meter; holds what its 0 reads here.
    Desk(Dbfs),
}

impl Scale {
    pub fn of(zero: Option<Dbfs>) -> Self {
        zero.map_or(Self::FullScale, Self::Desk)
    }

    /// "−12.3"; on the desk's scale "+6.0".
    pub fn number(self, at: Dbfs) -> String {
        match self {
            Self::FullScale => level(at),
            Self::Desk(_) if at.is_silence() => SILENCE.into(),
            Self::Desk(zero) => with_plus((at - zero).get(), 1),
        }
    }

    /// "−12.3 dBFS", "+6.0 dB on the desk".
    pub fn level(self, at: Dbfs) -> String {
        format!("{} {}", self.number(at), self.unit())
    }

    pub const fn unit(self) -> &'static str {
        match self {
            Self::FullScale => "dBFS",
            Self::Desk(_) => "dB on the desk",
        }
    }

    /// For the head of a column.
    pub const fn short_unit(self) -> &'static str {
        match self {
            Self::FullScale => "dBFS",
            Self::Desk(_) => "desk dB",
        }
    }

    /// "−15…−9", whole decibels where they are whole.
    pub fn window(self, (low, high): (Dbfs, Dbfs)) -> String {
        format!("{}…{}", self.mark(low), self.mark(high))
    }

    /// A mark on a scale: whole decibels where they are whole.
    pub fn mark(self, at: Dbfs) -> String {
        let decimals = |value: f64| if (value * 10.0).round() / 10.0 % 1.0 == 0.0 { 0 } else { 1 };
        match self {
            Self::FullScale => signed(at.get(), decimals(at.get())),
            Self::Desk(zero) => {
                let value = (at - zero).get();
                with_plus(value, decimals(value))
            }
        }
    }
}

/// "−12.3", "−∞".
pub fn level(level: Dbfs) -> String {
    if level.is_silence() { SILENCE.into() } else { signed(level.get(), 1) }
}

/// "−12.3 dBFS".
pub fn dbfs(value: Dbfs) -> String {
    Scale::FullScale.level(value)
}

/// "−23.1 LUFS".
pub fn lufs(value: Lufs) -> String {
    format!("{} LUFS", level(Dbfs::new(value.get())))
}

/// "93.4": a level in a room, its weighting is said beside it.
pub fn spl(value: Spl) -> String {
    level(Dbfs::new(value.get()))
}

/// A difference without its sign: "6 dB", "6.5 dB".
pub fn span(change: Db) -> String {
    let rounded = (change.get().abs() * 10.0).round() / 10.0;
    if rounded.fract() == 0.0 { format!("{rounded:.0} dB") } else { format!("{rounded:.1} dB") }
}

/// A difference with its sign, in whole decibels: "+3 dB", "−6 dB".
pub fn change(change: Db) -> String {
    format!("{} dB", with_plus(change.get(), 0))
}

/// "2:05", "1:02:05".
pub fn clock(at: Seconds) -> String {
    let whole = at.get().max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

/// How long something is: "0.5 s" while it is short, then as a clock.
pub fn length(span: Seconds) -> String {
    if span.get() < 10.0 { format!("{:.1} s", span.get().max(0.0)) } else { clock(span) }
}

/// Whole seconds gone by: "12 s".
pub fn seconds(span: Seconds) -> String {
    format!("{} s", whole_seconds(span))
}

/// The same without its unit.
pub fn whole_seconds(span: Seconds) -> u64 {
    (span.get() + 1e-9).max(0.0) as u64
}

/// "once", "3 times".
pub fn times(count: u32) -> String {
    if count == 1 { "once".into() } else { format!("{count} times") }
}

/// "1 place", "3 places".
pub fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

fn with_plus(value: f64, decimals: usize) -> String {
    let text = signed(value, decimals);
    if text.starts_with(MINUS) { text } else { format!("+{text}") }
}

/// With a true minus; −0 is 0.
fn signed(value: f64, decimals: usize) -> String {
    let scale = 10f64.powi(decimals as i32);
    let rounded = (value * scale).round() / scale + 0.0;
    format!("{rounded:.decimals$}").replace('-', MINUS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_and_signs() {
        assert_eq!(level(Dbfs::new(-3.12)), "−3.1");
        assert_eq!(level(Dbfs::new(-0.04)), "0.0");
        assert_eq!(level(Dbfs::SILENCE), "−∞");
        assert_eq!(lufs(Lufs::new(-23.04)), "−23.0 LUFS");
        assert_eq!(span(Db::new(-6.0)), "6 dB");
        assert_eq!(span(Db::new(6.54)), "6.5 dB");
        assert_eq!((change(Db::new(3.0)), change(Db::new(-6.0))), ("+3 dB".into(), "−6 dB".into()));
        assert_eq!(clock(Seconds::new(3725.9)), "1:02:05");
        assert_eq!(clock(Seconds::new(65.0)), "1:05");
        assert_eq!(length(Seconds::new(0.52)), "0.5 s");
        assert_eq!(length(Seconds::new(65.0)), "1:05");
        assert_eq!(seconds(Seconds::new(11.999_999_999_9)), "12 s");
    }

    #[test]
    fn windows_have_whole_decibels_where_they_are_whole() {
        let window = |low: f64, high: f64| Scale::FullScale.window((Dbfs::new(low), Dbfs::new(high)));
        assert_eq!(window(-15.0, -9.0), "−15…−9");
        assert_eq!(window(-15.5, -9.5), "−15.5…−9.5");
        assert_eq!(window(-6.000_000_1, 0.0), "−6…0");
    }

    /// desk dB = dBFS − X; with the desk's 0 at −22 dBFS, −22 reads 0 and −12 reads +10.
    #[test]
    fn the_desks_own_decibels() {
        let desk = Scale::of(Some(Dbfs::new(-22.0)));
        assert_eq!(desk.level(Dbfs::new(-22.0)), "+0.0 dB on the desk");
        assert_eq!(desk.level(Dbfs::new(-12.0)), "+10.0 dB on the desk");
        assert_eq!(desk.level(Dbfs::new(-28.04)), "−6.0 dB on the desk");
        assert_eq!(desk.level(Dbfs::SILENCE), "−∞ dB on the desk");
        assert_eq!(desk.window((Dbfs::new(-15.0), Dbfs::new(-9.0))), "+7…+13");
        assert_eq!(Scale::of(None), Scale::FullScale);
    }
}
