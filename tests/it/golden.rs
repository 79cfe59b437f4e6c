//! What is measured, found and advised of every sound fixture and of a few made takes, as one readable text:
//! `fixtures/golden.txt`. `BLESS_FIXTURES=1 cargo test golden` writes it anew; read the difference.
//!
//! Numbers may differ by 0.1 from the text, since coders and sine functions differ in their last bits.

use crate::support::signals::{Noise, amplitude, music};
use beforedoors::block::BlockBuf;
use beforedoors::coach::Input;
use beforedoors::engine::Advice;
use beforedoors::engine::recording::{Recording, measure};
use beforedoors::source::Source;
use beforedoors::source::stage::{Player, Script, Stage};
use beforedoors::units::{ChannelId, Dbfs, SampleRate, Seconds, SourceKind};
use beforedoors::view::{DeskWords, finding_words, next_step, numbers, word};
use std::fmt::Write;
use std::path::{Path, PathBuf};

const RATE: u32 = 48_000;
const SLACK: f64 = 0.1 + 1e-9;

/// A take, its channels side by side, and what they are.
struct Take {
    name: &'static str,
    planes: Vec<Vec<f32>>,
    inputs: Vec<Input>,
}

fn take(name: &'static str, kinds: &[SourceKind], planes: Vec<Vec<f32>>) -> Take {
    Take { name, planes, inputs: kinds.iter().map(|&kind| Input::new(kind, None)).collect() }
}

fn takes() -> Vec<Take> {
    let tune = music(RATE, 40.0, 3);
    let changed = |change: &dyn Fn(f32) -> f32| vec![tune.iter().map(|&x| change(x)).collect::<Vec<f32>>()];
    let mut broken = tune.clone();
    broken[RATE as usize..RATE as usize + 9].fill(f32::NAN);
    broken[2 * RATE as usize] = f32::INFINITY;
    let mut hiss = Noise::new(5);
    let near_noise =
        tune.iter().map(|&x| 0.004 * x + (amplitude(-70.0) * hiss.next().unwrap_or_default()) as f32).collect();
    vec![
        take("music, clipped", &[SourceKind::Keys], changed(&|x| (4.0 * x).clamp(-1.0, 1.0))),
        take("music, flat tops at −12 dBFS", &[SourceKind::Keys], changed(&|x| (4.0 * x).clamp(-0.25, 0.25))),
        take("music, loud", &[SourceKind::Keys], changed(&|x| 0.9 * x)),
        take("music, low", &[SourceKind::Keys], changed(&|x| 0.02 * x)),
        take("music, near its noise", &[SourceKind::Keys], vec![near_noise]),
        take("music, with samples that are no numbers", &[], vec![broken]),
        take("silence", &[SourceKind::Speech], vec![vec![0.0; 25 * RATE as usize]]),
        take("a soloist who coughs", &[SourceKind::SoloVocal], soloist_who_coughs()),
        take("a soloist, and a microphone that hears nobody else", &[SourceKind::SoloVocal; 2], spilt()),
    ]
}

fn soloist(coughs: bool) -> Vec<f32> {
    let rate = SampleRate::new(RATE).expect("a rate");
    let every = Some(Seconds::new(3.0));
    let script = Script { player: Player::Soloist, every, peak: Dbfs::new(-22.0), floor: Dbfs::new(-75.0) };
    let mut stage = Stage::scripted(rate, 7, &[script]);
    let mut block = BlockBuf::new(1, RATE as usize);
    let mut out = Vec::new();
    for second in 0..40 {
        if coughs && second == 20 {
            stage.cough(ChannelId::new(0));
        }
        let Ok(_) = stage.read(&mut block);
        out.extend_from_slice(block.as_block().channel(0));
    }
    out
}

fn soloist_who_coughs() -> Vec<Vec<f32>> {
    vec![soloist(true)]
}

/// The second microphone hears the first one's singer 20 dB down and 8 ms later, and its own hiss.
fn spilt() -> Vec<Vec<f32>> {
    let own = soloist(false);
    let late = RATE as usize / 125;
    let mut hiss = Noise::new(9);
    let heard = |frame: usize| frame.checked_sub(late).map_or(0.0, |frame| own[frame]);
    let other = (0..own.len())
        .map(|frame| 0.1 * heard(frame) + (amplitude(-75.0) * hiss.next().unwrap_or_default()) as f32)
        .collect();
    vec![own, other]
}

fn write_wav(path: &Path, planes: &[Vec<f32>]) {
    let (bits_per_sample, sample_format) = (32, hound::SampleFormat::Float);
    let spec = hound::WavSpec { channels: planes.len() as u16, sample_rate: RATE, bits_per_sample, sample_format };
    let mut wav = hound::WavWriter::create(path, spec).expect("a file");
    for frame in 0..planes[0].len() {
        planes.iter().for_each(|plane| wav.write_sample(plane[frame]).expect("room on the disk"));
    }
    wav.finalize().expect("a whole file");
}

/// Readings, findings, advice.
fn tell(name: &str, path: &Path, inputs: &[Input]) -> String {
    let mut text = format!("{name}\n");
    match measure(path, inputs, &|_| {}) {
        Ok(recording) => tell_recording(&mut text, &recording).expect("a string takes all"),
        Err(error) => {
            let reason = error.to_string().replace(&path.display().to_string(), name);
            writeln!(text, "  can’t be read: {reason}").expect("a string takes all");
        }
    }
    text
}

fn tell_recording(text: &mut String, recording: &Recording) -> std::fmt::Result {
    let Recording { format, info, summary, .. } = recording;
    let programme = summary.programme;
    let range = programme.range.map_or("–".into(), |range| format!("{:.1}", range.get()));
    let loudness = numbers::lufs(programme.integrated);
    let (rate, length) = (format.rate.get(), recording.length().get());
    writeln!(text, "  {}, {rate} Hz, {length:.1} s; loudness {loudness}, range {range} LU", info.kind)?;
    for (index, (channel, verdict)) in summary.channels.iter().zip(&recording.channels).enumerate() {
        let whole = channel.whole;
        let active = numbers::level(channel.take.active_level);
        let floor = channel.take.floor.map_or("–".into(), numbers::level);
        writeln!(
            text,
            "  {}: peak {}, true peak {}, RMS {}, active {active} for {:.1} s, floor {floor}: {}",
            index + 1,
            numbers::level(whole.sample_peak),
            numbers::level(whole.true_peak),
            numbers::level(whole.rms),
            channel.take.active_time.get(),
            word(verdict.state),
        )?;
    }
    for finding in recording.findings.iter().take(4) {
        let at = numbers::clock(finding.start.at(format.rate));
        writeln!(text, "  found at {at} on {}: {}", finding.channel.number(), finding_words(finding))?;
    }
    if let Some(more) = recording.findings.len().checked_sub(5) {
        writeln!(text, "  and {} more", more + 1)?;
    }
    for (index, verdict) in recording.channels.iter().enumerate() {
        let Some(step) = verdict.step else { continue };
        let advice = Advice { step, channel: Some(ChannelId::from_index(index)), why: verdict.why };
        let step = next_step(&advice, &format!("channel {}", index + 1), &DeskWords::default());
        writeln!(text, "  advice: {} {}", step.arrow.sign(), step.sentence)?;
        writeln!(text, "          {}", step.proof)?;
    }
    Ok(())
}

fn fixtures() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn all() -> String {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(fixtures())
        .expect("the fixtures")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| beforedoors::engine::takes::looks_like_sound(path))
        .collect();
    paths.sort();
    let folder = tempfile::tempdir().expect("a folder");
    let made = takes().into_iter().map(|Take { name, planes, inputs }| {
        let path = folder.path().join("take.wav");
        write_wav(&path, &planes);
        tell(name, &path, &inputs)
    });
    let committed = paths.iter().map(|path| tell(&path.file_name().unwrap_or_default().to_string_lossy(), path, &[]));
    committed.chain(made).collect::<Vec<String>>().join("\n")
}

/// Words alike, numbers alike within the slack.
fn alike(was: &str, now: &str) -> bool {
    let number = |word: &str| word.trim_matches([',', ';', ':']).replace('−', "-").parse::<f64>().ok();
    let (was, now): (Vec<&str>, Vec<&str>) = (was.split(' ').collect(), now.split(' ').collect());
    was.len() == now.len()
        && was.iter().zip(&now).all(|(was, now)| {
            let near = number(was).zip(number(now)).is_some_and(|(was, now)| (was - now).abs() <= SLACK);
            was == now || near
        })
}

#[test]
fn golden_readings_findings_and_advice() {
    let path = fixtures().join("golden.txt");
    let now = all();
    if std::env::var_os("BLESS_FIXTURES").is_some() {
        std::fs::write(&path, &now).expect("the fixtures can be written");
    }
    let was = std::fs::read_to_string(&path).expect("fixtures/golden.txt; BLESS_FIXTURES=1 makes it");
    let changed: Vec<String> = was
        .lines()
        .zip(now.lines())
        .filter(|(was, now)| !alike(was, now))
        .map(|(was, now)| format!("- {was}\n+ {now}"))
        .collect();
    assert!(changed.is_empty(), "\n{}\n", changed.join("\n"));
    assert_eq!(was.lines().count(), now.lines().count(), "lines came or went:\n{now}");
}

#[test]
fn numbers_may_differ_a_little_and_words_may_not() {
    assert!(alike("  1: peak −18.0, true", "  1: peak −18.1, true"));
    assert!(!alike("  1: peak −18.0, true", "  1: peak −18.2, true"));
    assert!(!alike("  1: peak −18.0, set", "  1: peak −18.0, low"));
}
