//! Coded recordings, made from `phrase.wav` by independent coders (`fixtures/README.md` has the commands).
//!
//! Lossless: bit exact. Lossy: the right length, in step with the original (correlation at lag 0) and at its level.

use super::fixture;
use super::hear_fixture;
use super::open_bytes;
use beforedoors::source::Source;
use beforedoors::source::file::FileError;
use beforedoors::source::file::FileSource;
use beforedoors::source::file::FileWarning;

fn rms(plane: &[f32]) -> f64 {
    (plane.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / plane.len() as f64).sqrt()
}

/// 1 for the same shape in step; a lag of one frame costs the phrase about 0.003, swapped channels nearly all.
fn likeness(a: &[f32], b: &[f32]) -> f64 {
    let product: f64 = a.iter().zip(b).map(|(&a, &b)| f64::from(a) * f64::from(b)).sum();
    product / (rms(a) * rms(b) * a.len() as f64)
}

#[test]
fn lossless_codecs_give_the_original_bit_for_bit() {
    let (_, original) = hear_fixture("phrase.wav");
    for (name, kind, stated) in [
        ("phrase.flac", "FLAC", 14_400),
        ("phrase-alac.m4a", "ALAC in M4A", 14_400),
        ("phrase.aiff", "AIFF 16-bit", 14_400),
        // Its packet table counts four whole packets.
        ("phrase.caf", "ALAC in CAF", 16_384),
    ] {
        let (source, heard) = hear_fixture(name);
        let info = source.info();
        assert_eq!((info.kind.as_str(), info.lossy, info.bit_depth), (kind, false, Some(16)), "{name}");
        assert_eq!(info.frames, Some(stated), "{name}");
        assert!(heard == original, "{name}: {} frames", heard[0].len());
        assert!(source.warnings().is_empty(), "{name}: {:?}", source.warnings());
    }
}

/// 96 kbit/s and more keep tones within 0.1 dB and all but a thousandth of their power.
#[test]
fn lossy_codecs_keep_length_step_and_level() {
    let (_, original) = hear_fixture("phrase.wav");
    for (name, kind) in [
        ("phrase.mp3", "MP3"),
        ("phrase.ogg", "Ogg Vorbis"),
        ("phrase.m4a", "AAC in M4A"),
        ("phrase.mov", "AAC in a video"),
        ("phrase.mp4", "AAC in a video"),
        ("phrase-a-law.wav", "WAV A-law"),
        ("phrase-mu-law.wav", "WAV µ-law"),
    ] {
        let (source, heard) = hear_fixture(name);
        assert_eq!((source.info().kind.as_str(), source.info().lossy), (kind, true), "{name}");
        assert_eq!(source.info().frames, Some(14_400), "{name}");
        for (heard, original) in heard.iter().zip(&original) {
            assert_eq!(heard.len(), original.len(), "{name}");
            let likeness = likeness(heard, original);
            assert!(likeness > 0.999, "{name}: likeness {likeness}");
            let change_db = 20.0 * (rms(heard) / rms(original)).log10();
            assert!(change_db.abs() < 0.1, "{name}: {change_db} dB");
        }
    }
}

/// ADPCM fills its last block, and no chunk that the library heeds says by how much.
#[test]
fn adpcm_is_read_to_the_end_of_its_last_block() {
    let (_, original) = hear_fixture("phrase.wav");
    let (source, heard) = hear_fixture("phrase-adpcm.wav");
    assert_eq!((source.info().kind.as_str(), source.info().lossy), ("IMA ADPCM in WAV", true));
    assert!((14_400..16_442).contains(&heard[0].len()), "{}", heard[0].len());
    assert!(likeness(&heard[0][..14_400], &original[0]) > 0.999);
}

#[test]
fn of_two_sound_tracks_the_first_is_read_and_the_second_is_named() {
    let (source, _) = hear_fixture("phrase.mp4");
    assert_eq!(source.format().channels, 2);
    assert_eq!(source.warnings(), [FileWarning::MoreTracks { tracks: 2 }]);
}

#[test]
fn opus_is_named_and_sent_to_be_saved_anew() {
    for name in ["phrase.opus", "phrase-opus.webm", "phrase-opus.mp4"] {
        match FileSource::open(&fixture(name)) {
            Err(FileError::Opus) => {}
            Err(error) => panic!("{name}: {error}"),
            Ok(_) => panic!("{name} was opened"),
        }
    }
}

/// The name says one thing, the bytes another: the bytes count.
#[test]
fn a_wrong_ending_of_the_name_does_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.wav");
    std::fs::copy(fixture("phrase.flac"), &path).unwrap();
    assert_eq!(FileSource::open(&path).unwrap().info().kind, "FLAC");
}

#[test]
fn a_cut_file_gives_what_is_left_and_says_so() {
    for name in ["phrase.flac", "phrase.mp3", "phrase.aiff", "phrase.mov", "phrase-alac.m4a", "phrase.m4a"] {
        let whole = std::fs::read(fixture(name)).unwrap();
        // An M4A keeps its table at the end here; sound in front of it is taken out instead.
        let cut = if name.ends_with("m4a") { zeroed(whole) } else { whole[..whole.len() * 2 / 3].to_vec() };
        let mut source = open_bytes(cut).unwrap_or_else(|error| panic!("{name}: {error}"));
        let heard = super::hear(&mut source).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!((1_000..14_400).contains(&heard[0].len()), "{name}: {}", heard[0].len());
        assert!(!source.warnings().is_empty(), "{name}");
    }
}

/// The middle of the file overwritten.
fn zeroed(mut bytes: Vec<u8>) -> Vec<u8> {
    let third = bytes.len() / 3;
    bytes[third..third + 2_000].fill(0xff);
    bytes
}

/// A damaged packet costs its own time and no other: what follows stays in step.
#[test]
fn frames_lost_in_a_broken_packet_are_a_gap_of_their_length() {
    use beforedoors::block::BlockBuf;
    use beforedoors::source::Flow;
    let (_, original) = hear_fixture("phrase.wav");
    let mut source = open_bytes(zeroed(std::fs::read(fixture("phrase-alac.m4a")).unwrap())).unwrap();
    let mut block = BlockBuf::new(2, 512);
    let (mut gaps, mut frames) = (0, 0);
    while source.read(&mut block).unwrap() == Flow::More {
        let heard = block.as_block();
        let start = heard.start().get() as usize;
        gaps += heard.gap().get();
        frames += heard.frames() as u64;
        assert_eq!(heard.channel(0), &original[0][start..start + heard.frames()], "out of step at {start}");
    }
    assert!(gaps > 0);
    assert_eq!(gaps + frames, 14_400);
    assert!(matches!(source.warnings(), [FileWarning::BrokenPackets { lost, .. }] if *lost == gaps));
}
