//! The shelf meter in characters: a thin rail for the level now, a notched window for the target, the loudest so
//! far standing on the rail as its state's shape, the headroom lettered at the right.

use super::numbers;
use super::states::shape;
use crate::coach::ChannelState;
use crate::units::Dbfs;

const BOTTOM: f64 = -60.0;

/// Three lines, `width` characters wide at most: what stands on the shelf, the rail, the notched window.
pub fn shelf(now: Dbfs, loudest: Dbfs, window: Option<(Dbfs, Dbfs)>, state: ChannelState, width: usize) -> [String; 3] {
    let label = if loudest.is_silence() {
        String::new()
    } else {
        format!(" {} of headroom", numbers::span(Dbfs::new(0.0) - loudest.min(Dbfs::new(0.0))))
    };
    let rail = width.saturating_sub(label.chars().count()).max(20);
    let place = |level: Dbfs| {
        let share = (level.get().max(BOTTOM).min(0.0) - BOTTOM) / -BOTTOM;
        (share * (rail - 1) as f64).round() as usize
    };
    let mut standing = vec![' '; rail];
    if !loudest.is_silence() {
        standing[place(loudest)] = shape(state);
    }
    let full = if now.is_silence() { 0 } else { place(now) };
    let line: String = (0..rail).map(|column| if column < full { '━' } else { '─' }).collect();
    let mut notch = vec![' '; rail];
    if let Some((low, high)) = window {
        let (low, high) = (place(low), place(high));
        notch[low..=high].fill('_');
        notch[low] = '╲';
        notch[high] = '╱';
    }
    [standing.into_iter().collect(), format!("{line}{label}"), notch.into_iter().collect()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loudest_stands_where_it_is() {
        let window = Some((Dbfs::new(-15.0), Dbfs::new(-9.0)));
        let [standing, rail, notch] = shelf(Dbfs::new(-30.0), Dbfs::new(-12.0), window, ChannelState::Set, 80);
        assert!(rail.ends_with(" 12 dB of headroom"), "{rail}");
        let columns = rail.chars().count() - " 12 dB of headroom".chars().count();
        let at = standing.chars().position(|c| c == '■').unwrap();
        assert!(((at as f64 / (columns - 1) as f64) - 0.8).abs() < 0.01);
        assert!(notch.chars().nth(at) == Some('_'));
    }

    #[test]
    fn silence_over_full_scale_and_narrow_widths_are_drawn() {
        for level in [Dbfs::SILENCE, Dbfs::new(6.0), Dbfs::new(-200.0)] {
            for width in [0, 20, 61] {
                let _ = shelf(level, level, None, ChannelState::Clipped, width);
            }
        }
    }
}
