//! Damaged files of every kind: whatever the bytes, reading ends, does not panic, and gives no more than there can be.
//!
//! `PROPTEST_CASES` runs more of them.

use super::fixture;
use super::hear;
use super::make::Width;
use super::open_bytes;
use proptest::prelude::*;

/// One kind of damage; places are taken modulo the length.
#[derive(Clone, Debug)]
enum Damage {
    Set(usize, u8),
    Flip(usize, u8),
    Word(usize, u32),
    Cut(usize),
    Insert(usize, Vec<u8>),
    Remove(usize, usize),
}

/// Half the places lie in the first 64 bytes, where the header is.
fn place() -> impl Strategy<Value = usize> {
    prop_oneof![0..64_usize, any::<usize>()]
}

fn damage() -> impl Strategy<Value = Damage> {
    let telling = prop_oneof![Just(0), Just(1), Just(u32::MAX), Just(0x7fff_ffff), Just(0x8000_0000), any::<u32>()];
    prop_oneof![
        (place(), any::<u8>()).prop_map(|(at, byte)| Damage::Set(at, byte)),
        (place(), 0..8_u8).prop_map(|(at, bit)| Damage::Flip(at, bit)),
        (place(), telling).prop_map(|(at, word)| Damage::Word(at, word)),
        place().prop_map(Damage::Cut),
        (place(), prop::collection::vec(any::<u8>(), 1..64)).prop_map(|(at, bytes)| Damage::Insert(at, bytes)),
        (place(), 1..64_usize).prop_map(|(at, count)| Damage::Remove(at, count)),
    ]
}

fn apply(damages: &[Damage], bytes: &mut Vec<u8>) {
    for damage in damages {
        let length = bytes.len().max(1);
        match damage {
            Damage::Set(at, byte) => bytes.iter_mut().skip(at % length).take(1).for_each(|b| *b = *byte),
            Damage::Flip(at, bit) => bytes.iter_mut().skip(at % length).take(1).for_each(|b| *b ^= 1 << bit),
            Damage::Word(at, word) => {
                bytes.iter_mut().skip(at % length).zip(word.to_le_bytes()).for_each(|(b, new)| *b = new);
            }
            Damage::Cut(at) => bytes.truncate(at % length),
            Damage::Insert(at, more) => {
                let at = (at % length).min(bytes.len());
                bytes.splice(at..at, more.iter().copied());
            }
            Damage::Remove(at, count) => {
                let at = (at % length).min(bytes.len());
                bytes.drain(at..(at + count).min(bytes.len()));
            }
        }
    }
}

fn wav() -> impl Strategy<Value = Vec<u8>> {
    let sound = prop::collection::vec(any::<u8>(), 0..6_000);
    (prop::sample::select(&Width::ALL[..]), 1..5_u16, sound, any::<bool>()).prop_map(
        |(width, channels, sound, long)| {
            let mut header = width.header(channels, 48_000);
            if long {
                header.family = b"RF64";
                header.ds64 = Some(sound.len() as u64);
                header.data_size = Some(u32::MAX);
            }
            header.with(&sound)
        },
    )
}

/// Coded files: how many frames a byte may stand for is the codec's affair, but there is an end.
const MOST_CODED_FRAMES: usize = 50_000_000;

proptest! {
    #[test]
    fn damaged_wav_never_gives_more_than_the_file_holds(
        mut bytes in wav(),
        damages in prop::collection::vec(damage(), 0..6),
    ) {
        apply(&damages, &mut bytes);
        let length = bytes.len();
        if let Ok(mut source) = open_bytes(bytes) {
            let promised = source.info().frames;
    let plain = ["WAV", "RF64", "BW64"].iter().any(|family| source.info().kind.starts_with(family));
            if let Ok(heard) = hear(&mut source) {
                if plain {
                    prop_assert!(heard.len() * heard[0].len() <= length);
                    prop_assert_eq!(promised, Some(heard[0].len() as u64));
                }
                for warning in source.warnings() {
                    prop_assert!(!warning.to_string().is_empty());
                }
            }
        }
    }

    #[test]
    fn damaged_coded_files_end(
        name in prop::sample::select(vec![
            "phrase.flac", "phrase.mp3", "phrase.ogg", "phrase.m4a", "phrase-alac.m4a", "phrase.mov", "phrase.mp4",
            "phrase.aiff", "phrase.caf", "phrase-adpcm.wav", "phrase.opus", "phrase-opus.webm",
        ]),
        damages in prop::collection::vec(damage(), 1..6),
    ) {
        let mut bytes = std::fs::read(fixture(name)).unwrap();
        apply(&damages, &mut bytes);
        if let Ok(mut source) = open_bytes(bytes)
            && let Ok(heard) = hear(&mut source)
        {
            prop_assert!(heard[0].len() < MOST_CODED_FRAMES, "{}", heard[0].len());
        }
    }
}

/// Thirteen bytes in the description of a CAF make the decoder library panic; the file must end as an error.
#[test]
fn a_panic_of_the_decoder_stays_inside_its_file() {
    let mut bytes = std::fs::read(fixture("phrase.caf")).unwrap();
    bytes.splice(32..32, [0, 0, 0, 0, 32, 0, 0, 0, 0, 0, 0, 0, 1]);
    assert!(open_bytes(bytes).is_err());
}
