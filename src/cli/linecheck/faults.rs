//! What is wrong on the simulated stage: named on the command line, or drawn by its number.

use crate::engine::linecheck::{RigFault, StageSide, drawn_faults};
use crate::units::{ChannelId, Db, Dbfs, Hertz};

/// What `--fault` takes.
pub const FAULTS: &str = "swap:4,5 · rotate:1,3,9 · dead:2 · leg:5 · hum50:7 · hum60:7 · buzz50:7 · buzz60:7 · copy:2,9 · \
                          phantom:4 · noise:1 · speakers-swapped · speaker-reversed · speaker-dead:left · none";

/// A fault as it is typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    None,
    Of(RigFault),
}

/// Those that were named; without any, those of the seed.
pub fn chosen(faults: &[Fault], seed: u64) -> Vec<RigFault> {
    if faults.is_empty() {
        return drawn_faults(seed);
    }
    let named = |fault: &Fault| match fault {
        Fault::None => None,
        Fault::Of(fault) => Some(*fault),
    };
    faults.iter().filter_map(named).collect()
}

/// Reads one; an error says what it takes.
pub fn fault(text: &str) -> Result<Fault, String> {
    let expected = || format!("“{text}” is no fault of the simulated stage. Expected one of: {FAULTS}");
    let (word, channels) = text.split_once(':').unwrap_or((text, ""));
    let numbers: Option<Vec<ChannelId>> = channels
        .split(',')
        .filter(|number| !number.is_empty())
        .map(|number| {
            let number: usize = number.trim().parse().ok()?;
            (1..=ChannelId::MAX_CHANNELS).contains(&number).then(|| ChannelId::from_index(number - 1))
        })
        .collect();
    let hum = |channel, mains, comb| RigFault::Hum { channel, mains: Hertz::new(mains), over: Db::new(16.0), comb };
    let found = match (word, numbers.as_deref(), channels) {
        ("none", Some([]), _) => return Ok(Fault::None),
        ("swap", Some(&[a, b]), _) if a != b => RigFault::Swapped(a, b),
        ("rotate", Some(&[a, b, c]), _) if a != b && b != c && a != c => RigFault::Rotated(a, b, c),
        ("dead", Some(&[a]), _) => RigFault::DeadCable(a),
        ("leg", Some(&[a]), _) => RigFault::LegReversed(a),
        ("hum50", Some(&[a]), _) => hum(a, 49.98, false),
        ("hum60", Some(&[a]), _) => hum(a, 60.02, false),
        ("buzz50", Some(&[a]), _) => hum(a, 49.98, true),
        ("buzz60", Some(&[a]), _) => hum(a, 60.02, true),
        ("copy", Some(&[from, to]), _) if from != to => RigFault::Copied { from, to },
        ("phantom", Some(&[a]), _) => RigFault::NoPhantom(a),
        ("noise", Some(&[a]), _) => RigFault::Noisy(a, Dbfs::new(-30.0)),
        ("speakers-swapped", Some([]), _) => RigFault::SpeakersSwapped,
        ("speaker-reversed", Some([]), _) => RigFault::SpeakerReversed,
        ("speaker-dead", _, "left") => RigFault::SpeakerDead(StageSide::Left),
        ("speaker-dead", _, "right") => RigFault::SpeakerDead(StageSide::Right),
        _ => return Err(expected()),
    };
    Ok(Fault::Of(found))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_of_the_help_is_read() {
        for text in FAULTS.split('·') {
            assert!(fault(text.trim()).is_ok(), "{text}");
        }
        assert_eq!(fault("none"), Ok(Fault::None));
        let swap = RigFault::Swapped(ChannelId::new(3), ChannelId::new(4));
        assert_eq!(fault("swap:4,5"), Ok(Fault::Of(swap)));
    }

    #[test]
    fn what_is_no_fault_is_told_with_what_is_expected() {
        for text in
            ["", "swap", "swap:4", "swap:4,4", "swap:0,5", "swap:4,65", "dead:x", "speaker-dead:middle", "flood:1"]
        {
            let told = fault(text).expect_err(text);
            assert!(told.contains("Expected one of: swap:4,5"), "{told}");
        }
    }
}
