//! From the return of a device's callback to the picture whose frame count includes it, on 32 channels at 48 kHz.
//!
//! `cargo bench --bench live`. Callbacks of 480 frames come every 10 ms, fed as a device feeds them; the engine runs on
//! its own thread and a face asks for the picture all the while. It fails where the 99th percentile is over 25 ms, so
//! run it on a machine that does nothing else.

use std::time::{Duration, Instant};

use beforedoors::block::Format;
use beforedoors::engine::Connection;
use beforedoors::engine::session::{Link, Session};
use beforedoors::units::SampleRate;

const CHANNELS: usize = 32;
const CALLBACK: usize = 480;
const CALLBACKS: u32 = 2_000;
const PERIOD: Duration = Duration::from_millis(10);
const MOST: f64 = 25.0;

fn main() {
    let format = Format { rate: SampleRate::new(48_000).expect("a usual rate"), channels: CHANNELS };
    let (mut intake, session) = Session::fed(format, None, Connection::Usb, None).expect("a thread");
    let mut noise = 1_u32;
    let begun = Instant::now();
    let mut late = Vec::new();
    for callback in 1..=CALLBACKS {
        let data: Vec<f32> = (0..CALLBACK * CHANNELS)
            .map(|_| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                noise as i32 as f32 * 1e-10
            })
            .collect();
        std::thread::sleep((PERIOD * callback).saturating_sub(begun.elapsed()));
        intake.take(&data);
        let returned = Instant::now();
        let frames = u64::from(callback) * CALLBACK as u64;
        while session.snapshot().readings.at.get() < frames {
            std::thread::sleep(Duration::from_micros(200));
        }
        late.push(returned.elapsed().as_secs_f64() * 1e3);
    }
    late.sort_by(f64::total_cmp);
    let of = |share: f64| late[(share * (late.len() - 1) as f64) as usize];
    println!(
        "from a callback's return to its picture: median {:.1} ms, 95th percentile {:.1} ms, 99th {:.1} ms, longest {:.1} ms",
        of(0.5),
        of(0.95),
        of(0.99),
        of(1.0)
    );
    assert!(of(0.99) <= MOST, "the 99th percentile is over {MOST} ms");
}
