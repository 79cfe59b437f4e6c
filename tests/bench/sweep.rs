//! From the end of a quiet sweep's tail to its result, for ten microphones: 5 s of sweep and 3 s of tail at 48 kHz.
//!
//! `cargo bench --bench sweep`. The simulated hall is swept at a return through the whole safe way; its microphones come
//! again, softer, until they are ten. The softer sweep goes by in real time. What counts is the call that hears the last of the two sweeps, and the lines that
//! are told of it (cuts computed); beside it a transform of as many samples, as a measure of the machine. It fails over 1 s.

use std::time::{Duration, Instant};

use beforedoors::block::Format;
use beforedoors::coach::ringout::Equaliser;
use beforedoors::engine::quiet::{
    Opened, Place, PlaceError, QuietAnswer, QuietStep, QuietSweep, QuietWish, StagePlace, TAP, Which,
};
use beforedoors::engine::ringout::Output;
use beforedoors::sink::Armed;
use beforedoors::units::{ChannelId, Db};
use beforedoors::view::quiet::quiet_lines;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

const MICROPHONES: usize = 10;
const MOST: f64 = 1.0;
/// What the stage plays at once.
const STRETCH: Duration = Duration::from_millis(100);
/// Of the sweep with what stands before and after it.
const SAMPLES: usize = 9 * 48_000;

struct Ten {
    stage: StagePlace,
    planes: Vec<Vec<f32>>,
    microphones: Vec<ChannelId>,
}

impl Place for Ten {
    fn format(&self) -> Format {
        Format { channels: MICROPHONES, ..self.stage.format() }
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        self.planes.iter_mut().for_each(Vec::clear);
        self.stage.hear(&mut self.planes)?;
        for (at, plane) in into.iter_mut().enumerate() {
            let (of, gain) = (self.microphones[at % self.microphones.len()], 0.9_f32.powi(at as i32));
            plane.extend(self.planes[of.index()].iter().map(|sample| gain * sample));
        }
        Ok(())
    }

    fn play(&mut self, leave: Armed, samples: Vec<f32>) -> Result<(), PlaceError> {
        self.stage.play(leave, samples)
    }

    fn stop(&mut self) {
        self.stage.stop();
    }

    fn ask_for_a_tap(&mut self, microphone: ChannelId) {
        self.stage.ask_for_a_tap(self.microphones[microphone.index() % self.microphones.len()]);
    }
}

fn main() {
    let stage = StagePlace::new(3, 0, Output::Mains).expect("a hall");
    let planes = vec![Vec::new(); stage.format().channels];
    let place = Ten { microphones: stage.microphones(), stage, planes };
    let channels: Vec<ChannelId> = (0..MICROPHONES).map(ChannelId::from_index).collect();
    let mut sweep = QuietSweep::new(place, QuietWish::usual(Opened::AtReturn).or_for(&channels)).expect("a wish");
    let mut late = f64::NAN;
    loop {
        match sweep.step() {
            QuietStep::Cautions => sweep.answer(QuietAnswer::Yes),
            QuietStep::Tap { rise } if rise >= TAP => sweep.answer(QuietAnswer::Yes),
            QuietStep::Sounding { which: Which::Second, share, .. } if share > 0.98 => {
                let began = Instant::now();
                sweep.go_on();
                late = began.elapsed().as_secs_f64();
                if sweep.result().is_some() {
                    break;
                }
                continue;
            }
            // At the pace of a hall: the louder one is judged meanwhile.
            QuietStep::Sounding { which: Which::Second, .. } => std::thread::sleep(STRETCH),
            _ => {}
        }
        if !sweep.go_on() {
            break;
        }
    }
    let result = sweep.result().expect("it is measured");
    let began = Instant::now();
    let lines = quiet_lines(result, Db::new(6.0), Equaliser::ThirdOctave, &[], false);
    let told = began.elapsed().as_secs_f64();
    let mut numbers = vec![Complex64::new(1.0, 0.0); SAMPLES];
    let transform = FftPlanner::new().plan_fft_forward(SAMPLES);
    let began = Instant::now();
    transform.process(&mut numbers);
    let transformed = began.elapsed().as_secs_f64();
    println!(
        "{MICROPHONES} microphones: the result stands {late:.2} s after the tail, its {} lines {told:.2} s later; a transform of \
         as many samples takes {:.1} ms, the result as long as {:.0} of them",
        lines.len(),
        1e3 * transformed,
        (late + told) / transformed
    );
    assert!(late + told <= MOST, "it is over {MOST} s");
}
