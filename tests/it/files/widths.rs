//! Every width of WAV: against hand-made bytes, against what hound writes, and tones of known amplitude.

use super::fixtures;
use super::hear;
use super::hear_fixture;
use super::make::Header;
use super::make::Width;
use super::open_bytes;
use std::io::Cursor;

/// A different ramp for each channel, ends of the scale included.
fn ramp(channel: usize, frame: usize) -> f64 {
    ((frame * (channel + 3) * 37) % 2_001) as f64 / 1_000.0 - 1.0
}

#[test]
fn hand_made_bytes_of_each_width_come_back() {
    for width in Width::ALL {
        for (channels, rate) in [(1, 8_000), (2, 44_100), (3, 48_000), (16, 96_000), (64, 192_000)] {
            let frames = 700;
            let sound: Vec<u8> = (0..frames)
                .flat_map(|frame| (0..channels).flat_map(move |channel| width.store(ramp(channel, frame))))
                .collect();
            let mut source = open_bytes(width.header(channels as u16, rate).with(&sound)).unwrap();
            assert_eq!(source.info().frames, Some(frames as u64));
            assert_eq!(source.info().format.rate.get(), rate);
            let heard = hear(&mut source).unwrap();
            assert_eq!(heard.len(), channels);
            for (channel, plane) in heard.iter().enumerate() {
                assert_eq!(plane.len(), frames);
                for (frame, &sample) in plane.iter().enumerate() {
                    let put = ramp(channel, frame).min(width.top());
                    assert!(
                        (f64::from(sample) - put).abs() <= width.half_step(),
                        "{width:?} {channel} {frame}: {sample} {put}"
                    );
                }
            }
            assert!(source.warnings().is_empty(), "{:?}", source.warnings());
        }
    }
}

/// hound as a second opinion: its writer, its reader's integers.
#[test]
fn what_hound_writes_is_read_the_same() {
    use hound::SampleFormat::Float;
    use hound::SampleFormat::Int;
    for (bits, sample_format) in [(8, Int), (16, Int), (24, Int), (32, Int), (32, Float)] {
        for channels in [1_u16, 2, 6] {
            let spec = hound::WavSpec { channels, sample_rate: 48_000, bits_per_sample: bits, sample_format };
            let mut file = Cursor::new(Vec::new());
            let mut writer = hound::WavWriter::new(&mut file, spec).unwrap();
            let full = f64::powi(2.0, i32::from(bits) - 1);
            let mut put = Vec::new();
            for index in 0..6 * 500_usize {
                let sample = ramp(index % 7, index).clamp(-1.0, 0.999);
                if sample_format == Float {
                    writer.write_sample(sample as f32).unwrap();
                    put.push(sample as f32);
                } else {
                    let integer = (sample * full).floor() as i32;
                    writer.write_sample(integer).unwrap();
                    put.push((f64::from(integer) / full) as f32);
                }
            }
            writer.finalize().unwrap();
            let mut source = open_bytes(file.into_inner()).unwrap();
            let heard = hear(&mut source).unwrap();
            let channels = usize::from(channels);
            for (index, &sample) in put.iter().enumerate() {
                assert_eq!(heard[index % channels][index / channels], sample, "{bits} bits, sample {index}");
            }
            assert_eq!(heard[0].len(), put.len() / channels);
        }
    }
}

/// −18 dBFS peak is −21.01 dBFS RMS. The sample peak of 997 Hz at 48 kHz comes within a millionth of the true peak in
/// 0.1 s; storing adds half a step.
#[test]
fn tones_of_known_amplitude_in_each_width() {
    for width in Width::ALL {
        let (source, heard) = hear_fixture(&fixtures::tone_name(width));
        assert_eq!(source.info().frames, Some(4_800));
        let peak = heard[0].iter().fold(0.0_f64, |peak, &x| peak.max(f64::from(x).abs()));
        let power = heard[0].iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / 4_800.0;
        let put = f64::powf(10.0, fixtures::TONE_PEAK_DBFS / 20.0);
        assert!((peak - put).abs() <= width.half_step() + put * 1e-6, "{width:?} peak {peak}");
        let rms_dbfs = 10.0 * power.log10();
        let slack = if width == Width::U8 { 0.05 } else { 0.01 };
        assert!((rms_dbfs - (fixtures::TONE_PEAK_DBFS - 3.0103)).abs() < slack, "{width:?} RMS {rms_dbfs}");
    }
}

#[test]
fn files_are_described_in_the_trades_words() {
    let words = Width::ALL.map(|width| open_bytes(width.header(1, 48_000).with(&[0; 64])).unwrap().info().kind.clone());
    let expected =
        ["WAV 8-bit", "WAV 16-bit", "WAV 24-bit", "WAV 24-bit", "WAV 32-bit", "WAV 32-bit float", "WAV 64-bit float"];
    assert_eq!(words, expected);
    let surround = Header { extended: Some((16, 0x3f)), ..Header::new(1, 6, 48_000, 16) };
    let source = open_bytes(surround.with(&[0; 1_200])).unwrap();
    let info = source.info();
    assert_eq!((info.channel_mask, info.bit_depth, info.lossy), (Some(0x3f), Some(16), false));
    assert_eq!(info.duration().unwrap().get(), 100.0 / 48_000.0);
}

#[test]
fn not_a_number_and_infinity_pass_unchanged() {
    let wild = [0.5, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 17.0, -0.0];
    let sound: Vec<u8> = wild.iter().flat_map(|x| x.to_le_bytes()).collect();
    let heard = hear(&mut open_bytes(Width::F32.header(1, 48_000).with(&sound)).unwrap()).unwrap();
    assert!(heard[0].iter().zip(wild).all(|(a, b)| a.to_bits() == b.to_bits()));
}
