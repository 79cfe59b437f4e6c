//! Sweeps from recordings: what was sent and what was captured, as two files of the same moment on.
//!
//! In: two recordings of one rate; the first channel of what was sent (a sweep, or two in one sound, which tell the clocks
//! apart), every channel of what was captured (a microphone each). Out: a loop's margin, or what a seat hears, channel by channel, the loop with all
//! those microphones open, and the weakest of them. Faders in dB as they are marked: what was measured at a return is
//! put to the faders of the show. A channel that is unfit has its [`Refusal`] instead. Recordings over two minutes are
//! refused: a sweep and its tail are shorter. What a damaged file still holds is used.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::seat::{Seat, Talk};
use crate::block::BlockBuf;
use crate::coach::ringout::Equaliser;
use crate::coach::sweep::{Opened, SweepPlan};
pub use crate::dsp::biquad::Shape;
use crate::dsp::equaliser::Graphic;
use crate::measure::cuts::Desk;
pub use crate::measure::cuts::{Cut, Cuts};
pub use crate::measure::delay::Apart;
use crate::measure::impulse::Impulse;
use crate::measure::margin::LoopGain;
pub use crate::measure::margin::{Margin, Ring};
use crate::measure::sweep::{BandNoise, Inverse, Pair, Taken};
pub use crate::measure::sweep::{Clocks, Refusal};
use crate::sink::{SinkError, write_signal_wav};
use crate::source::file::{FileError, FileSource};
use crate::source::{Flow, Source};
use crate::units::{Db, Dbfs, Hertz, SampleRate, Seconds};

/// Kept between a fader and its ring where nobody says more.
pub const SPARE: Db = Db::new(6.0);
const LONGEST: Seconds = Seconds::new(120.0);
const STRETCH: Seconds = Seconds::new(1.0);

/// Why two recordings can't be held against each other.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    #[error("{}: {error}", path.display())]
    File { path: PathBuf, error: FileError },
    #[error("{} is longer than two minutes. Cut it to the sweep and the silence around it", path.display())]
    TooLong { path: PathBuf },
    #[error("{} is no loopback of this sweep. Record the output straight into the input", path.display())]
    Loopback { path: PathBuf },
    #[error("what was sent has {sent}, what was captured {captured}. Save both at one rate")]
    Rates { sent: SampleRate, captured: SampleRate },
}

/// How the desk stands, and what the computer's own output and input do.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// Each channel's fader in the show; 0 where it is not told.
    pub faders: Vec<Db>,
    /// The return's fader while the sweep was played; the loop opened at the main out has none.
    pub at_return: Db,
    /// The computer's output straight into its input, captured with the same knobs.
    pub loopback: Option<PathBuf>,
}

/// A loop, from one microphone.
#[derive(Clone, Debug)]
pub struct Loop {
    /// With the fader as in the show.
    pub gain: LoopGain,
    pub margin: Margin,
    pub fader: Db,
    noise: Vec<BandNoise>,
    pub drift_ppm: f64,
    pub signal_to_noise: Db,
}

impl Loop {
    /// From a capture and its gain; `loopback` takes the computer out, which has to be of the same length.
    pub fn new(
        taken: &Taken,
        gain: LoopGain,
        fader: Db,
        at_return: Db,
        loopback: Option<&LoopGain>,
    ) -> Result<Self, Refusal> {
        let change = fader - at_return;
        let own = match loopback {
            Some(loopback) => gain.over(loopback).ok_or(Refusal::NotASweep)?,
            None => gain,
        };
        let gain = own.raised(change);
        let louder = |band: &BandNoise| BandNoise { noise_gain: band.noise_gain + change, ..*band };
        let noise: Vec<BandNoise> = taken.noise.iter().map(louder).collect();
        let margin = gain.margin().allowing(&noise);
        let (drift_ppm, signal_to_noise) = (taken.drift_ppm, taken.signal_to_noise);
        Ok(Self { gain, margin, fader, noise, drift_ppm, signal_to_noise })
    }

    /// Where its fader may stand, this microphone alone open, with so much kept under the ring.
    pub fn highest_fader(&self, spare: Db) -> Db {
        self.fader + self.margin.safe - spare
    }

    /// What this desk's equaliser can do towards a wanted margin; `None` for a wish that is no number.
    pub fn cuts(&self, equaliser: Equaliser, wanted: Db) -> Option<Cuts> {
        Cuts::new(&self.gain, desk(equaliser), wanted)
    }
}

/// The bands of a parametric equaliser, the reach of a channel's mid knob, the corners of Lo and Hi: usual desks.
const fn desk(equaliser: Equaliser) -> Desk {
    match equaliser {
        Equaliser::ThirdOctave => Desk::Graphic(Graphic::ThirdOctave),
        Equaliser::TwoThirds => Desk::Graphic(Graphic::TwoThirdOctave),
        Equaliser::Octave => Desk::Graphic(Graphic::Octave),
        Equaliser::Parametric => Desk::Parametric { bands: 4 },
        Equaliser::Sweep => Desk::SweepableMid { low: Hertz::new(150.0), high: Hertz::new(5_000.0), q: 0.7 },
        Equaliser::Shelves => Desk::Shelves { low: Hertz::new(80.0), high: Hertz::new(12_000.0) },
    }
}

/// The margins of a captured sweep, a channel each.
#[derive(Clone, Debug)]
pub struct Loops {
    pub channels: Vec<Result<Loop, Refusal>>,
    /// All measured microphones open at once; `None` for fewer than two.
    pub together: Option<Margin>,
}

impl Loops {
    /// From the channels' loops.
    pub fn new(channels: Vec<Result<Loop, Refusal>>) -> Self {
        let open: Vec<&Loop> = channels.iter().flatten().collect();
        let noise = |band: usize| {
            let power = |open: &&Loop| open.noise.get(band).map_or(0.0, |noise| noise.noise_gain.ratio().powi(2));
            Db::from_ratio(open.iter().map(power).sum::<f64>().sqrt())
        };
        let bands = open.first().map_or(&[][..], |first| &first.noise);
        let noise: Vec<BandNoise> =
            bands.iter().enumerate().map(|(at, band)| BandNoise { noise_gain: noise(at), ..*band }).collect();
        let sum = if open.len() < 2 { None } else { LoopGain::sum(open.iter().map(|open| &open.gain)) };
        let together = sum.map(|gain| gain.margin().allowing(&noise));
        Self { channels, together }
    }

    /// The channel that rings first, each alone; of several ones.
    pub fn weakest(&self) -> Option<usize> {
        let known =
            self.channels.iter().enumerate().filter_map(|(at, found)| Some((at, found.as_ref().ok()?.margin.safe)));
        if known.clone().count() < 2 {
            None
        } else {
            known.min_by(|a, b| a.1.get().total_cmp(&b.1.get())).map(|(at, _)| at)
        }
    }
}

/// Writes both sweeps in one sound, the louder one at this peak, over what is there: 48 kHz, what [`loops`] takes as sent.
pub fn write_sweeps(path: &Path, peak: Dbfs) -> Result<(), SinkError> {
    let Some(rate) = SampleRate::new(48_000) else { return Ok(()) };
    write_signal_wav(path, &SweepPlan::usual(rate, Opened::AtReturn).pair(peak), rate)
}

pub fn loops(sent: &Path, captured: &Path, clocks: Clocks, setup: &Setup) -> Result<Loops, SweepError> {
    let own = match &setup.loopback {
        None => None,
        Some(path) => {
            let gains = each(sent, path, clocks, &|_, taken| Ok(LoopGain::new(&taken.response)))?;
            let first = gains.into_iter().next().and_then(Result::ok);
            Some(first.ok_or_else(|| SweepError::Loopback { path: path.clone() })?)
        }
    };
    let fader = |channel: usize| setup.faders.get(channel).copied().unwrap_or(Db::ZERO);
    let channels = each(sent, captured, clocks, &|channel, taken| {
        Loop::new(&taken, LoopGain::new(&taken.response), fader(channel), setup.at_return, own.as_ref())
    })?;
    Ok(Loops::new(channels))
}

/// What each captured channel's place hears.
pub fn seats(
    sent: &Path,
    captured: &Path,
    clocks: Clocks,
    talk: &Talk,
) -> Result<Vec<Result<Seat, Refusal>>, SweepError> {
    each(sent, captured, clocks, &|_, taken| Seat::new(&taken, talk))
}

/// How much later the mains arrive than a second loudspeaker, at each captured microphone: both captures begin when the
/// sweep does.
pub fn delays(
    sent: &Path,
    mains: &Path,
    second: &Path,
    clocks: Clocks,
) -> Result<Vec<Result<Apart, Refusal>>, SweepError> {
    let heard = |captured| each(sent, captured, clocks, &|_, taken| Ok(taken.response));
    let apart = |(mains, second): (Result<Impulse, Refusal>, Result<Impulse, Refusal>)| {
        Apart::new(&mains?, &second?).ok_or(Refusal::NoSignal { level: Dbfs::SILENCE })
    };
    Ok(heard(mains)?.into_iter().zip(heard(second)?).map(apart).collect())
}

/// What was played.
enum Sent {
    Sweep(Inverse),
    /// Tells the clocks itself.
    Pair(Pair),
}

/// Every captured channel against what was sent, over all cores.
fn each<T: Send>(
    sent: &Path,
    captured: &Path,
    clocks: Clocks,
    judge: &(dyn Fn(usize, Taken) -> Result<T, Refusal> + Sync),
) -> Result<Vec<Result<T, Refusal>>, SweepError> {
    let (sent, rate) = read(sent)?;
    let (captured, captured_rate) = read(captured)?;
    if rate != captured_rate {
        return Err(SweepError::Rates { sent: rate, captured: captured_rate });
    }
    let first = sent.first().map_or(&[][..], |channel| channel);
    let sent = match Pair::find(first, rate) {
        Some(pair) => Ok(Sent::Pair(pair)),
        None => Inverse::new(first, rate).map(Sent::Sweep),
    };
    let take = |channel: &[f32]| match &sent {
        Ok(Sent::Pair(pair)) => pair.take(channel),
        Ok(Sent::Sweep(inverse)) => inverse.take(channel, clocks),
        Err(refusal) => Err(*refusal),
    };
    let judged = |(at, channel): (usize, &Vec<f32>)| take(channel).and_then(|taken| judge(at, taken));
    Ok(captured.par_iter().enumerate().map(judged).collect())
}

/// All channels of a recording.
fn read(path: &Path) -> Result<(Vec<Vec<f32>>, SampleRate), SweepError> {
    let broken = |error| SweepError::File { path: path.to_owned(), error };
    let mut source = FileSource::open(path).map_err(broken)?;
    let format = source.format();
    let mut planes = vec![Vec::new(); format.channels];
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    loop {
        let flow = source.read(&mut block).map_err(broken)?;
        let heard = block.as_block();
        for (channel, plane) in planes.iter_mut().enumerate() {
            plane.extend_from_slice(heard.channel(channel));
        }
        if planes.first().is_some_and(|plane| plane.len() as u64 > format.rate.frames(LONGEST).get()) {
            return Err(SweepError::TooLong { path: path.to_owned() });
        }
        if flow == Flow::End {
            return Ok((planes, format.rate));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::sweep::Sweep;

    fn write(path: &Path, rate: u32, channels: &[Vec<f32>]) {
        let spec = hound::WavSpec {
            channels: channels.len() as u16,
            sample_rate: rate,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let mut writer = hound::WavWriter::create(path, spec).unwrap();
        for frame in 0..channels[0].len() {
            channels.iter().for_each(|channel| writer.write_sample(channel[frame]).unwrap());
        }
        writer.finalize().unwrap();
    }

    /// Two microphones on one loudspeaker, 5 ms away, at −20 dB each: 20 dB alone, 13.98 dB together.
    #[test]
    fn two_microphones_and_a_dead_channel() {
        let folder = tempfile::tempdir().unwrap();
        let [sent_path, captured_path] = ["sent.wav", "captured.wav"].map(|name| folder.path().join(name));
        let (low, high) = (Hertz::new(80.0), Hertz::new(12_000.0));
        let sweep = Sweep::new(low, high, Seconds::new(1.0), Seconds::new(0.01), Dbfs::new(-12.0)).unwrap();
        let samples = sweep.samples(SampleRate::new(48_000).unwrap());
        let sent = [vec![0.0; 24_000], samples, vec![0.0; 48_000]].concat();
        let back: Vec<f32> = (0..sent.len()).map(|n| if n < 240 { 0.0 } else { 0.1 * sent[n - 240] }).collect();
        write(&sent_path, 48_000, std::slice::from_ref(&sent));
        write(&captured_path, 48_000, &[back.clone(), back, vec![0.0; sent.len()]]);
        let found = loops(&sent_path, &captured_path, Clocks::Same, &Setup::default()).unwrap();
        for channel in &found.channels[..2] {
            let margin = &channel.as_ref().unwrap().margin;
            assert!((margin.phase_aware.unwrap().get() - 20.0).abs() < 0.3, "{margin:?}");
        }
        assert!(matches!(found.channels[2], Err(Refusal::NoSignal { .. })));
        // What the reading may be off is taken away, so it is never over the truth.
        let under = 13.98 - found.together.as_ref().unwrap().safe.get();
        assert!((0.0..0.3).contains(&under), "{under}");
        // The second fader 5 dB up, the return 2 dB down while it was measured: 7 dB more of it.
        let setup = Setup { faders: vec![Db::new(-1.0), Db::new(5.0)], at_return: Db::new(-2.0), loopback: None };
        let raised = loops(&sent_path, &captured_path, Clocks::Same, &setup).unwrap();
        let margins: Vec<f64> =
            raised.channels[..2].iter().map(|one| one.as_ref().unwrap().margin.safe.get()).collect();
        assert!((margins[0] - 19.0).abs() < 0.4 && (margins[1] - 13.0).abs() < 0.4, "{margins:?}");
        assert_eq!(raised.weakest(), Some(1));
        // Each fader's limit lies where it did: 20 dB and the return's −2, less the spare.
        for one in raised.channels.iter().flatten() {
            assert!((one.highest_fader(SPARE).get() - 12.0).abs() < 0.4, "{one:?}");
        }
        // Through its own loopback nothing is left of the loop but 0 dB.
        let setup = Setup { loopback: Some(captured_path.clone()), ..Setup::default() };
        let none = loops(&sent_path, &captured_path, Clocks::Same, &setup).unwrap();
        assert!(none.channels[0].as_ref().unwrap().margin.safe.get().abs() < 0.3);
        let heard = |over_noise| {
            let talk = Talk { over_noise, ..Talk::default() };
            seats(&sent_path, &captured_path, Clocks::Same, &talk).unwrap()[0].as_ref().unwrap().heard().sti
        };
        assert!(heard(None) > 0.95);
        // At 0 dB over the background every octave transmits half (IEC 60268-16).
        assert!((heard(Some(Db::ZERO)) - 0.5).abs() < 0.02);
        write(&sent_path, 44_100, &[sent]);
        let error = loops(&sent_path, &captured_path, Clocks::Same, &Setup::default()).unwrap_err();
        assert_eq!(error.to_string(), "what was sent has 44100 Hz, what was captured 48000 Hz. Save both at one rate");
        assert!(loops(&folder.path().join("none.wav"), &captured_path, Clocks::Same, &Setup::default()).is_err());
    }
}
