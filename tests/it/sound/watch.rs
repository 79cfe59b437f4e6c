//! What is asked for when it grows loud: now, soon, later, and when it is over.

use assert_no_alloc::assert_no_alloc;
use beforedoors::coach::ringout::Urgency;
use beforedoors::coach::sound::{Calibration, Cause, Limits, Microphone, SoundAction, SoundWatch, Standard};
use beforedoors::meters::{Leq, SoundReadings};
use beforedoors::units::{Db, Dbfs, FrameCount, Seconds, Spl};

use super::meter;
use crate::support::signals::stepped_sine;

const CALIBRATION: Calibration = Calibration {
    full_scale: Spl::new(120.0),
    with: Standard::MeterOfClass2,
    microphone: Microphone::Ordinary,
    spread: Db::ZERO,
};

/// A hall whose level is set; the means are those of what was set.
struct Evening {
    watch: SoundWatch,
    readings: SoundReadings,
    powers: Vec<f64>,
    stretches: u64,
    /// What was asked for, whenever that changed: seconds, cause.
    asked: Vec<(f64, Option<Cause>)>,
}

impl Evening {
    fn new(limits: Limits) -> Self {
        Self {
            watch: SoundWatch::new(limits, Some(CALIBRATION)),
            readings: *meter(48_000).readings(),
            powers: Vec::new(),
            stretches: 0,
            asked: Vec::new(),
        }
    }

    fn stretch(&mut self, level: f64) {
        let reading = Dbfs::new(level - CALIBRATION.full_scale.get());
        self.powers.push(reading.power());
        self.stretches += 1;
        let mean = |most: usize| {
            let last = &self.powers[self.powers.len().saturating_sub(most)..];
            let seconds = Seconds::new(last.len() as f64 / 10.0);
            let level = Dbfs::from_power(last.iter().sum::<f64>() / last.len() as f64);
            Leq { level, heard: seconds, span: seconds }
        };
        let at = FrameCount::new(self.stretches * 4800);
        let (minute, quarter) = (mean(600), mean(9000));
        self.readings = SoundReadings { at, laf_highest: reading, minute, quarter, ..self.readings };
        self.watch.observe(&self.readings);
        let cause = self.watch.advice().cause;
        if self.asked.last().map_or(cause.is_some(), |(_, last)| *last != cause) {
            self.asked.push((self.readings.time().get(), cause));
        }
    }

    fn play(&mut self, level: f64, seconds: f64) {
        for _ in 0..(seconds * 10.0).round() as usize {
            self.stretch(level);
        }
    }

    /// When a cause first came up.
    fn first(&self, cause: Cause) -> Option<f64> {
        self.asked.iter().find(|(_, asked)| *asked == Some(cause)).map(|(at, _)| *at)
    }
}

fn evening() -> Evening {
    Evening::new(Limits::default())
}

/// A good show has none: 85 dB(A) for an hour, with louder refrains.
#[test]
fn an_evening_as_it_should_be_is_silent() {
    let mut evening = evening();
    for _ in 0..20 {
        evening.play(83.0, 120.0);
        evening.play(90.0, 60.0);
    }
    assert_eq!(evening.asked, []);
}

/// 105 dB(A) at any moment: half a second of it, no bang of 120 that dies at F's 34.7 dB/s; over after 10 s under 102.
#[test]
fn too_loud_at_a_moment() {
    let mut evening = evening();
    evening.play(80.0, 60.0);
    for tenth in 0..30 {
        evening.stretch((119.0 - 3.47 * f64::from(tenth)).max(80.0));
    }
    assert_eq!(evening.asked, []);
    evening.play(80.0, 60.0);
    evening.play(106.0, 1.0);
    let (at, cause) = evening.asked[0];
    assert_eq!(cause, Some(Cause::Instant));
    assert!((0.5..=0.7).contains(&(at - 123.0)), "{at}");
    let advice = *evening.watch.advice();
    assert_eq!((advice.action, advice.urgency), (SoundAction::MainsDown { by: 3 }, Urgency::Now));
    assert_eq!((advice.level, advice.limit), (Spl::new(106.0), Spl::new(105.0)));
    evening.play(103.0, 20.0);
    assert_eq!(evening.watch.advice().cause, Some(Cause::Instant), "within the deadband");
    evening.play(80.0, 9.5);
    assert_eq!(evening.watch.advice().cause, Some(Cause::Instant), "before the off-delay");
    evening.play(80.0, 1.0);
    assert_ne!(evening.watch.advice().cause, Some(Cause::Instant));
}

/// LAeq over a minute, 3 dB over 93: of 60 s at 99 after quiet that is when half of the energy of 60 s at 99 is there.
#[test]
fn a_loud_minute_is_now() {
    let mut evening = evening();
    evening.play(70.0, 120.0);
    evening.play(99.0, 60.0);
    let at = evening.first(Cause::Minute).expect("asked");
    // 10 lg(t / 60) = −3 at t = 30.1 s, and 2 s of on-delay.
    assert!((at - 152.0).abs() < 0.5, "{at}");
    assert_eq!(evening.watch.advice().urgency, Urgency::Now);
}

/// What was answered rests for 3 min, or until it is 3 dB worse.
#[test]
fn an_answer_is_enough_for_three_minutes() {
    let mut evening = evening();
    evening.play(97.0, 60.0);
    let first = evening.first(Cause::Minute).expect("asked");
    evening.watch.answer();
    assert_eq!(evening.watch.advice().action, SoundAction::Nothing);
    evening.play(97.0, 170.0);
    assert_eq!(evening.watch.advice().cause, None);
    evening.play(97.0, 15.0);
    assert_eq!(evening.watch.advice().cause, Some(Cause::Minute), "{first}");
    evening.watch.answer();
    evening.play(101.5, 70.0);
    let (at, cause) = *evening.asked.last().expect("asked");
    assert_eq!(cause, Some(Cause::Minute));
    assert!((245.0..310.0).contains(&at), "{at}");
    // Nothing to answer: nothing changes.
    let mut calm = self::evening();
    calm.play(80.0, 10.0);
    calm.watch.answer();
    calm.play(97.0, 60.0);
    assert_eq!(calm.watch.advice().cause, Some(Cause::Minute));
}

/// 94 dB(A) throughout: the quarter says so once there are 5 min of it; it is over when the last minute is softer.
#[test]
fn a_loud_quarter_is_for_the_next_pause() {
    let mut evening = evening();
    evening.play(94.0, 400.0);
    let at = evening.first(Cause::Quarter).expect("asked");
    assert!((at - 302.0).abs() < 0.5, "{at}");
    assert_eq!((evening.watch.advice().urgency, evening.first(Cause::Minute)), (Urgency::Soon, None));
    evening.play(85.0, 75.0);
    assert_ne!(evening.watch.advice().cause, Some(Cause::Quarter));
    assert!(evening.readings.quarter.level > Dbfs::new(93.0 - 120.0 - 1.0), "the mean itself is still near");
}

/// Worth a note from 88, nothing to turn.
#[test]
fn a_note_from_88() {
    let mut evening = evening();
    evening.play(89.0, 400.0);
    let advice = evening.watch.advice();
    assert_eq!((advice.action, advice.urgency, advice.cause), (SoundAction::Watch, Urgency::Later, Some(Cause::Note)));
    assert_eq!(evening.asked.len(), 1);
}

/// It creeps up by 1 dB in 4 min from 88: told while the mean is still under 93, and not before it can be in 5 min.
#[test]
fn a_rise_is_told_before_it_is_there() {
    let mut evening = Evening::new(Limits { note: Spl::new(92.9), ..Limits::default() });
    for minute in 0..30 {
        evening.play(88.0 + 0.25 * f64::from(minute), 60.0);
    }
    let (later, there) = (evening.first(Cause::Trend).expect("told"), evening.first(Cause::Quarter).expect("asked"));
    assert!((60.0..=330.0).contains(&(there - later)), "{later} {there}");
    // Level sound, and a fall, have no such line.
    let mut level = Evening::new(Limits { note: Spl::new(92.9), ..Limits::default() });
    level.play(92.0, 900.0);
    level.play(88.0, 600.0);
    assert_eq!(level.asked, []);
}

/// What the law caps is acted on, whatever was entered.
#[test]
fn the_cap_counts() {
    let mut evening = Evening::new(Limits { act: Spl::new(110.0), note: Spl::new(109.0), ..Limits::default() });
    evening.play(100.5, 400.0);
    assert!(evening.first(Cause::Quarter).is_some());
}

/// A hole: no delay runs in it, and what is mostly missing proves nothing.
#[test]
fn holes_prove_nothing() {
    let mut evening = evening();
    evening.play(70.0, 60.0);
    evening.stretch(110.0);
    evening.stretches += 600;
    evening.stretch(110.0);
    assert_eq!(evening.asked, []);
    let loud = Leq { level: Dbfs::new(-15.0), heard: Seconds::new(20.0), span: Seconds::new(60.0) };
    let mut readings = SoundReadings { minute: loud, laf_highest: Dbfs::new(-40.0), ..evening.readings };
    for _ in 0..100 {
        readings.at += FrameCount::new(4800);
        evening.watch.observe(&readings);
    }
    assert_eq!(evening.watch.advice().cause, None);
}

/// Never compared with a meter: nothing is asked for, at whatever level; and silence is fine.
#[test]
fn relative_levels_ask_for_nothing() {
    let mut watch = SoundWatch::new(Limits::default(), None);
    let mut known = SoundWatch::new(Limits::default(), Some(CALIBRATION));
    meter(8000)
        .push(FrameCount::ZERO, &stepped_sine(8000, 1000.0, &[(90.0, -1.0)]), &mut |readings| watch.observe(readings));
    assert_eq!((watch.advice().action, watch.calibration()), (SoundAction::Nothing, None));
    meter(8000).push(FrameCount::ZERO, &vec![0.0; 480_000], &mut |readings| known.observe(readings));
    assert_eq!(known.advice().action, SoundAction::Nothing);
}

#[test]
fn watching_allocates_nothing() {
    let mut watch = SoundWatch::new(Limits::default(), Some(CALIBRATION));
    let mut readings = *meter(48_000).readings();
    let loud = Leq { level: Dbfs::new(-20.0), heard: Seconds::new(900.0), span: Seconds::new(900.0) };
    (readings.minute, readings.quarter, readings.laf_highest) = (loud, loud, Dbfs::new(-10.0));
    assert_no_alloc(|| {
        for _ in 0..10_000 {
            readings.at += FrameCount::new(4800);
            watch.observe(&readings);
            watch.answer();
        }
    });
}
