//! Hours of a simulated show, faster than real time: what can't wait is caught, the rest does not tire anybody.
//!
//! Two channels: a voice at its microphone, and a microphone in the room, on which 0 dBFS is 118 dB. Songs of three minutes,
//! applause of twelve seconds, a pause. Four incidents an hour, in turn: a loop over its limit (simulated, closed), the room
//! at over 105 dB(A), an input at full scale again and again, a line that dies. The incident ends when it was answered. A
//! plain run takes 36 minutes of it, `BEFOREDOORS_FULL=1` eight hours.

use std::convert::Infallible;

use beforedoors::block::{BlockBuf, Format};
use beforedoors::coach::sound::{Calibration, Limits, Microphone, Standard};
use beforedoors::engine::hall::LiveHall;
use beforedoors::engine::ringout::Equaliser;
use beforedoors::engine::show::{Alert, Attending, LineTrouble, ShowDesk, Urgency};
use beforedoors::source::{Flow, Source};
use beforedoors::units::{ChannelId, Db, FrameCount, SampleRate, Seconds, Spl};

use crate::support::loops::{Loop, RATE};
use crate::support::signals::{Noise, amplitude, music};

const FRAME: usize = RATE as usize / 10;
const HOUR: f64 = 3600.0;
const SONG: f64 = 180.0;
const APPLAUSE: f64 = 12.0;
const ROUND: f64 = 200.0;
/// Incidents are this far apart, the first one in the middle of a song.
const APART: f64 = 900.0;
const FIRST: f64 = 490.0;
const LONGEST: f64 = 40.0;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Incident {
    Ring,
    Loud,
    Clips,
    Dead,
}

const ORDER: [Incident; 4] = [Incident::Ring, Incident::Loud, Incident::Clips, Incident::Dead];

struct Evening {
    at: u64,
    voice: Vec<f32>,
    ring: Vec<f32>,
    /// When the ring first stood over −40 dBFS, counted from the incident.
    heard_after: f64,
    noise: Noise,
    calm: std::rc::Rc<std::cell::Cell<bool>>,
}

/// The incident at a time, and since when.
fn incident(at: f64) -> Option<(usize, Incident, f64)> {
    let number = ((at - FIRST) / APART).floor();
    let since = at - FIRST - number * APART;
    (number >= 0.0 && since < LONGEST).then(|| (number as usize, ORDER[number as usize % ORDER.len()], since))
}

impl Evening {
    fn new(calm: std::rc::Rc<std::cell::Cell<bool>>) -> Self {
        let voice: Vec<f32> = music(RATE, 40.0, 5).into_iter().map(|x| 0.25 * x).collect();
        let source: Vec<f64> = voice.iter().map(|x| f64::from(*x)).collect();
        let howling = Loop { from: 0.0, to: 60.0, ..Loop::near(1_250.0, 2.0) };
        let ring = howling.run(&source);
        let loud = ring.iter().zip(&voice).position(|(x, dry)| f64::from((x - dry).abs()) > amplitude(-40.0));
        let heard_after = loud.expect("it rings") as f64 / f64::from(RATE);
        Self { at: 0, voice, ring, heard_after, noise: Noise::new(7), calm }
    }
}

impl Source for Evening {
    type Error = Infallible;

    fn format(&self) -> Format {
        Format { rate: SampleRate::new(RATE).expect("a rate"), channels: 2 }
    }

    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, Infallible> {
        block.restart(FrameCount::new(self.at), FrameCount::ZERO);
        let at = self.at as f64 / f64::from(RATE);
        let within = at % ROUND;
        let wrong = incident(at).filter(|_| !self.calm.get());
        let (floor, clap) = (amplitude(-72.0), amplitude(-24.0));
        let [voice, room] = block.planes_mut() else { panic!("two channels") };
        for n in 0..FRAME {
            let place = (self.at as usize + n) % self.voice.len();
            let noise = self.noise.next().unwrap_or_default();
            let sung = if within < SONG { f64::from(self.voice[place]) } else { 0.0 };
            let claps = if (SONG..SONG + APPLAUSE).contains(&within) { clap * noise } else { 0.0 };
            let mut near = sung + floor * noise + 0.1 * claps;
            let mut far = 0.1 * sung + floor * noise + claps;
            match wrong {
                Some((_, Incident::Ring, since)) => {
                    let rung = f64::from(self.ring[(since * f64::from(RATE)) as usize % self.ring.len() + n]);
                    (near, far) = (rung + floor * noise, far + 0.1 * rung);
                }
                Some((_, Incident::Loud, _)) => far = 0.9 * noise,
                Some((_, Incident::Clips, _)) => near = (20.0 * near).clamp(-1.0, 1.0),
                Some((_, Incident::Dead, _)) => near = amplitude(-110.0) * noise,
                None => {}
            }
            voice.push(near as f32);
            room.push(far as f32);
        }
        self.at += FRAME as u64;
        Ok(Flow::More)
    }
}

fn is_it(alert: &Alert, incident: Incident) -> bool {
    let voice = ChannelId::new(0);
    match incident {
        Incident::Ring => matches!(alert, Alert::Ring(_)),
        Incident::Loud => matches!(alert, Alert::Loud(_)),
        Incident::Clips => *alert == Alert::Line { channel: voice, trouble: LineTrouble::Clips },
        Incident::Dead => *alert == Alert::Line { channel: voice, trouble: LineTrouble::Dead },
    }
}

/// Kilobytes.
#[cfg(target_os = "linux")]
fn memory() -> u64 {
    let pages = std::fs::read_to_string("/proc/self/statm").expect("a size");
    4 * pages.split_whitespace().nth(1).and_then(|pages| pages.parse::<u64>().ok()).expect("a number")
}

#[test]
fn hours_of_a_show() {
    let hours = if std::env::var_os("BEFOREDOORS_FULL").is_some() { 8.0 } else { 0.6 };
    let calm = std::rc::Rc::new(std::cell::Cell::new(false));
    let evening = Evening::new(calm.clone());
    let heard_after = evening.heard_after;
    let calibration = Calibration {
        full_scale: Spl::new(118.0),
        with: Standard::ALL[0],
        microphone: Microphone::Measuring,
        spread: Db::new(0.5),
    };
    let attending =
        Attending { room: Some(ChannelId::new(1)), calibration: Some(calibration), limits: Limits::default() };
    let mut desk = ShowDesk::new(LiveHall::of(evening), Equaliser::ThirdOctave, 2, true).attending(&attending);
    let mut caught: Vec<(usize, Incident, f64, Urgency)> = Vec::new();
    let (mut others, mut in_applause) = (Vec::new(), 0);
    let (mut seen, mut current): (Option<Alert>, Option<usize>) = (None, None);
    #[cfg(target_os = "linux")]
    let mut after_a_while = 0;
    while desk.now() < Seconds::new(hours * HOUR) {
        let now = incident(desk.now().get() + 0.05);
        if now.map(|(number, ..)| number) != current {
            current = now.map(|(number, ..)| number);
            calm.set(false);
        }
        assert!(desk.go_on());
        let at = desk.now().get();
        let Some(alert) = desk.alert().copied() else {
            seen = None;
            continue;
        };
        let is_new = seen.is_none_or(|seen| std::mem::discriminant(&seen) != std::mem::discriminant(&alert));
        seen = Some(alert);
        let clapping = (SONG + 1.5..SONG + APPLAUSE).contains(&(at % ROUND));
        match now.filter(|(_, incident, _)| is_it(&alert, *incident)) {
            Some((number, incident, since)) => {
                let since = since + 0.1;
                if caught.iter().all(|(known, ..)| *known != number) {
                    caught.push((number, incident, since, alert.urgency()));
                }
                calm.set(true);
                desk.answer(true);
            }
            None if is_new => {
                others.push((at, alert));
                in_applause += u32::from(clapping);
                desk.answer(false);
            }
            None => desk.answer(false),
        }
        #[cfg(target_os = "linux")]
        if after_a_while == 0 && at > 0.25 * HOUR {
            after_a_while = memory();
        }
    }
    let expected = ((hours * HOUR - FIRST) / APART).ceil() as usize;
    println!("{} of {expected} caught: {caught:?}\nothers: {others:?}, counts {:?}", caught.len(), desk.counts());
    assert_eq!(caught.len(), expected, "{caught:?}");
    for (_, incident, since, urgency) in &caught {
        let after = match incident {
            Incident::Ring => since - heard_after,
            _ => *since,
        };
        let is_now = matches!(incident, Incident::Ring | Incident::Loud);
        assert!(!is_now || after <= 3.0 && *urgency == Urgency::Now, "{incident:?} after {after:.1} s, {urgency:?}");
    }
    let (shown, _) = desk.counts();
    assert!(f64::from(shown) <= 6.0 * hours, "{shown} alerts in {hours} h: {others:?}");
    assert_eq!(in_applause, 0, "{others:?}");
    // Of the whole process: other tests beside it would count, too. The long run is for being run alone.
    #[cfg(target_os = "linux")]
    if hours > 1.0 {
        println!("memory {after_a_while} kB after a quarter of an hour, {} kB at the end", memory());
        assert!(memory() < after_a_while + 8_000);
    }
}
