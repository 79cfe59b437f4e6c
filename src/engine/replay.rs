//! A recording heard as a soundcheck: the advice as it would have come while it was played.
//!
//! Nobody is there to answer. Questions are answered by what a recording is: all there is. A knob that was turned
//! while it was made is heard; a request that nobody follows is asked once more and then passed over, and so is an
//! input at which only the room was heard for a while. Times are on the recording's own clock.

use std::ops::ControlFlow;
use std::path::Path;

use super::pipeline::Pipeline;
use super::snapshot::Snapshot;
use crate::block::BlockBuf;
use crate::coach::{Advice, Answer, Connection, Input, Step};
use crate::source::file::{FileError, FileSource};
use crate::source::{Flow, Source};
use crate::units::{Seconds, SourceKind};

/// A frame of the meters: the coach looks no more often.
const STRETCH: Seconds = Seconds::new(0.1);
/// So long a step stays before nobody's answer counts.
const LEFT_STANDING: Seconds = Seconds::new(5.0);

/// Plays a recording to the coach, channel n as input n, and tells each change of the next step until the end, or
/// until `tell` breaks off. Without an input list every channel is "other".
pub fn replay<B>(
    path: &Path,
    inputs: Option<&[Input]>,
    tell: &mut dyn FnMut(&Snapshot) -> ControlFlow<B>,
) -> Result<ControlFlow<B>, FileError> {
    let mut source = FileSource::open(path)?;
    let format = source.format();
    let unknown = vec![Input::new(SourceKind::Other, None); format.channels];
    let mut pipeline = Pipeline::new(format, inputs.unwrap_or(&unknown), Connection::Usb);
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    let mut shown: Option<Advice> = None;
    let mut since = Seconds::ZERO;
    loop {
        let flow = source.read(&mut block)?;
        pipeline.push(&block.as_block());
        if flow == Flow::End {
            return Ok(ControlFlow::Continue(()));
        }
        let Snapshot { advice, at, .. } = *pipeline.snapshot();
        if !shown.is_some_and(|shown| (shown.step, shown.channel) == (advice.step, advice.channel)) {
            (shown, since) = (Some(advice), at);
            if let ControlFlow::Break(enough) = tell(pipeline.snapshot()) {
                return Ok(ControlFlow::Break(enough));
            }
        }
        if let Some(answer) = answer(&advice.step, at - since) {
            pipeline.answer(answer);
        }
    }
}

/// What stands for an answer to a step that has been shown this long.
fn answer(step: &Step, shown: Seconds) -> Option<Answer> {
    match step {
        // Heard, or timed out, by the coach itself.
        Step::Listen { .. } | Step::PutBack { .. } | Step::Trim { again: false, .. } | Step::AllSet => None,
        Step::ConfirmLoudest => Some(Answer::Done),
        _ => (shown >= LEFT_STANDING).then_some(Answer::Skip),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::TrimCause;
    use crate::units::{ChannelId, Db};

    const RATE: u32 = 48_000;

    /// Seconds of a tone that comes and goes, at these peak levels in dBFS, one for each channel.
    fn take(path: &Path, channels: &[f64], seconds: u32) {
        let spec = hound::WavSpec {
            channels: channels.len() as u16,
            sample_rate: RATE,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        };
        let mut file = hound::WavWriter::create(path, spec).unwrap();
        for frame in 0..seconds * RATE {
            let at = f64::from(frame) / f64::from(RATE);
            let breath = if at % 4.0 < 1.0 { 0.0 } else { 1.0 };
            for (channel, peak) in channels.iter().enumerate() {
                let tone = (std::f64::consts::TAU * (220.0 + 97.0 * channel as f64) * at).sin();
                let sample = (breath * 10f64.powf(peak / 20.0) * tone).clamp(-1.0, 1.0);
                file.write_sample((sample * 8_388_607.0) as i32).unwrap();
            }
        }
        file.finalize().unwrap();
    }

    fn told(path: &Path, inputs: Option<&[Input]>) -> Vec<(Seconds, Advice)> {
        let mut steps = Vec::new();
        let end = replay(path, inputs, &mut |snapshot| {
            steps.push((snapshot.at, snapshot.advice));
            ControlFlow::<()>::Continue(())
        });
        assert_eq!(end.unwrap(), ControlFlow::Continue(()));
        steps
    }

    #[test]
    fn what_comes_up_on_the_way_is_told_at_its_time() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        take(&path, &[-12.0, 9.0, -34.0], 90);
        let steps = told(&path, Some(&[Input::new(SourceKind::Keys, None); 3]));
        let first = &steps[0].1;
        assert!(matches!(first.step, Step::Listen { .. }) && first.channel == Some(ChannelId::new(0)));
        let of = |channel: u16, wanted: fn(&Step) -> bool| {
            steps.iter().find(|(_, advice)| advice.channel == Some(ChannelId::new(channel)) && wanted(&advice.step))
        };
        let clipped = of(1, |step| matches!(step, Step::Trim { cause: TrimCause::Clipped, .. })).expect("clipping");
        assert!(clipped.0 < Seconds::new(5.0), "{steps:?}");
        let low = of(2, |step| matches!(step, Step::Trim { cause: TrimCause::TooLow, .. })).expect("too low");
        assert!(low.0 > Seconds::new(10.0), "not before enough was heard: {steps:?}");
        assert!(steps.is_sorted_by_key(|(at, _)| at.get()));
    }

    /// One channel is empty: it does not hold up the others for ever.
    #[test]
    fn an_empty_channel_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        take(&path, &[-200.0, -30.0], 80);
        let steps = told(&path, None);
        let on = |step: fn(&Step) -> bool| steps.iter().position(|(_, advice)| step(&advice.step));
        let looked = on(|step| matches!(step, Step::CheckSource)).expect("a look at the source");
        let up = on(|step| matches!(step, Step::Trim { cause: TrimCause::TooLow, .. })).expect("the other channel");
        assert_ne!(steps[looked].1.channel, steps[up].1.channel);
    }

    #[test]
    fn whoever_is_told_can_break_off_and_a_missing_file_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        take(&path, &[-12.0], 2);
        let end = replay(&path, Some(&[Input::new(SourceKind::Speech, Some(Db::new(6.0)))]), &mut |_| {
            ControlFlow::Break("enough")
        });
        assert_eq!(end.unwrap(), ControlFlow::Break("enough"));
        let missing = replay(&folder.path().join("none.wav"), None, &mut |_| ControlFlow::<()>::Continue(()));
        assert!(matches!(missing, Err(FileError::Missing)));
    }
}
