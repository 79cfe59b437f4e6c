//! Whole captures of sweeps made here: a known response, noise, clocks, and what makes a capture unfit.
//!
//! The response is made by hand, so that margin and delay are known from its own transform (closed form for a pure
//! delay; the definition of the discrete transform for reflections).

use super::*;
use crate::measure::margin::LoopGain;

struct Seeded(u32);

impl Seeded {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(self.0 >> 8) / f64::from(1 << 23) - 1.0
    }
}

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

/// A shorter sweep than the usual one keeps the tests quick.
fn sent() -> Vec<f32> {
    let sweep =
        Sweep::new(Hertz::new(80.0), Hertz::new(12_000.0), Seconds::new(2.0), Seconds::new(0.01), Dbfs::new(-12.0));
    [vec![0.0; 24_000], sweep.unwrap().samples(rate()), vec![0.0; 60_000]].concat()
}

/// Direct sound after 5 ms and four reflections, in samples and amplitudes.
const WAYS: [(usize, f64); 5] = [(240, 0.3), (390, -0.12), (701, 0.1), (1333, 0.07), (2890, -0.04)];

/// What comes back over these ways, with noise of this amplitude.
fn captured(sent: &[f32], noise: f64) -> Vec<f32> {
    let mut seeded = Seeded(1);
    let back = |n: usize| {
        WAYS.iter().filter(|(late, _)| *late <= n).map(|(late, gain)| gain * f64::from(sent[n - late])).sum::<f64>()
    };
    (0..sent.len()).map(|n| (back(n) + noise * seeded.next()) as f32).collect()
}

/// The same loop by definition: G(f) = Σ gₖ·e^(−j2πf·nₖ/rate), every 0.05 Hz.
fn by_definition() -> (f64, f64, f64) {
    let value = |hz: f64| {
        WAYS.iter().fold((0.0, 0.0), |(re, im), (late, gain)| {
            let (sin, cos) = (-TAU * hz * *late as f64 / 48_000.0).sin_cos();
            (re + gain * cos, im + gain * sin)
        })
    };
    let (mut most, mut in_phase, mut ring) = (0.0_f64, 0.0_f64, 0.0);
    let mut last = value(100.0);
    for n in 1..236_000 {
        let hz = 100.0 + 0.05 * f64::from(n);
        let now = value(hz);
        most = most.max(now.0.hypot(now.1));
        if (last.1 < 0.0) != (now.1 < 0.0) && now.0 > in_phase {
            (in_phase, ring) = (now.0, hz);
        }
        last = now;
    }
    (-20.0 * most.log10(), -20.0 * in_phase.log10(), ring)
}

fn take(captured: &[f32], clocks: Clocks) -> Result<Taken, Refusal> {
    Inverse::new(&sent(), rate())?.take(captured, clocks)
}

/// Whether it is the refusal that was expected.
type Named = fn(&Refusal) -> bool;

/// Noise-free within 0.3 dB, at 20 dB of signal-to-noise within 1 dB, the ring within half a per cent; the safe number
/// never above the truth and at most 2 dB under it.
#[test]
fn the_margin_of_a_known_loop() {
    let (safe, truth, ring) = by_definition();
    for (noise, allowed) in [(0.0, 0.3), (0.008, 1.0)] {
        let taken = take(&captured(&sent(), noise), Clocks::Same).unwrap();
        let margin = LoopGain::new(&taken.response).margin();
        let found = margin.phase_aware.unwrap().get();
        assert!((found - truth).abs() < allowed, "{found} is not {truth}");
        assert!((margin.next[0].frequency.get() / ring - 1.0).abs() < 0.005, "{:?} is not {ring}", margin.next[0]);
        let allowing = margin.clone().allowing(&taken.noise).safe.get();
        assert!(
            (margin.safe.get() - safe).abs() < allowed && allowing <= truth && allowing > truth - 2.0,
            "{allowing}"
        );
        assert!((taken.response.delay().unwrap().get() - 0.005).abs() < 0.0002);
        assert_eq!(taken.drift_ppm, 0.0);
    }
}

/// A clock that is 100 ppm off costs less than 0.3 dB, and is told within 3 ppm, by the usual sweep of 5 s.
#[test]
fn two_clocks() {
    let (_, truth, _) = by_definition();
    let sweep = Sweep::usual(Dbfs::new(-12.0)).unwrap().samples(rate());
    let sent = [vec![0.0; 24_000], sweep, vec![0.0; 60_000]].concat();
    let inverse = Inverse::new(&sent, rate()).unwrap();
    for ppm in [-100.0, 100.0] {
        let still: Vec<f64> = captured(&sent, 1e-5).iter().map(|sample| f64::from(*sample)).collect();
        let off: Vec<f32> = drift::corrected(&still, -1e-6 * ppm).iter().map(|sample| *sample as f32).collect();
        for clocks in [Clocks::Unknown, Clocks::Apart(ppm)] {
            let taken = inverse.take(&off, clocks).unwrap();
            let found = LoopGain::new(&taken.response).margin().phase_aware.unwrap().get();
            assert!((taken.drift_ppm - ppm).abs() < 3.0, "{} is not {ppm}", taken.drift_ppm);
            assert!((found - truth).abs() < 0.3, "{found} is not {truth}");
        }
    }
}

/// A harmonic of the sweep is no part of the loop: 4 per cent of it move the margin by less than 0.3 dB.
#[test]
fn harmonics_are_left_out() {
    let (_, truth, _) = by_definition();
    let bent: Vec<f32> = sent().iter().map(|sample| sample + 0.32 * sample * sample).collect();
    let taken = take(&captured(&bent, 0.0), Clocks::Same);
    let found = taken.map(|taken| LoopGain::new(&taken.response).margin().phase_aware.unwrap().get());
    assert!(found.as_ref().is_ok_and(|found| (found - truth).abs() < 0.3), "{found:?} is not {truth}");
}

#[test]
fn unfit_captures_are_refused_with_their_reason() {
    let sent = sent();
    let good = captured(&sent, 1e-4);
    let changed = |change: &dyn Fn(usize, f32) -> f32| -> Vec<f32> {
        good.iter().enumerate().map(|(n, sample)| change(n, *sample)).collect()
    };
    let mut seeded = Seeded(9);
    let noise: Vec<f32> = good.iter().map(|_| seeded.next() as f32).collect();
    let slow = |n: usize| if (n / 12_000).is_multiple_of(2) { 0.2 } else { 0.01 };
    let cases: [(&str, Vec<f32>, Named); 8] = [
        ("clipped", changed(&|_, x| x.clamp(-0.03, 0.03)), |r| matches!(r, Refusal::Clipped { .. })),
        (
            "a slam",
            changed(&|n, x| if (60_000..66_000).contains(&n) { x + 0.5 * noise[n] } else { x }),
            |r| matches!(r, Refusal::DoorSlam { at, .. } if (at.get() - 1.25).abs() < 0.06),
        ),
        ("a talker", changed(&|n, x| x + slow(n) * noise[n]), |r| matches!(r, Refusal::Talker { .. })),
        ("limited", changed(&|_, x| (20.0 * x).tanh() * 0.05), |r| matches!(r, Refusal::Limited { .. })),
        ("silence", vec![0.0; good.len()], |r| matches!(r, Refusal::NoSignal { .. })),
        ("hiss", noise.iter().map(|x| 1e-4 * x).collect(), |r| matches!(r, Refusal::NoSignal { .. })),
        ("another channel", noise.iter().map(|x| 0.2 * x).collect(), |r| matches!(r, Refusal::WrongChannel { .. })),
        ("cut", good[..60_000].to_vec(), |r| matches!(r, Refusal::TooShort { .. })),
    ];
    for (name, capture, expected) in cases {
        let refused = take(&capture, Clocks::Same).err();
        assert!(refused.as_ref().is_some_and(expected), "{name}: {refused:?}");
    }
    assert!(take(&good, Clocks::Same).is_ok());
    assert_eq!(Inverse::new(&noise, rate()).err(), Some(Refusal::NotASweep));
    assert_eq!(Inverse::new(&[], rate()).err(), Some(Refusal::NotASweep));
    let nan = changed(&|n, x| if n % 1000 == 0 { f32::NAN } else { x });
    let _ = take(&nan, Clocks::Unknown);
}

/// Two sweeps of one room agree; a room in which a reflection has moved does not.
#[test]
fn a_room_that_moves() {
    let of = |captured: &[f32]| LoopGain::new(&take(captured, Clocks::Same).unwrap().response);
    let (one, two) = (of(&captured(&sent(), 1e-4)), of(&captured(&sent(), 2e-4)));
    assert!(agreement(&one, &two).unwrap().holds());
    let sent = sent();
    let moved: Vec<f32> = captured(&sent, 1e-4)
        .iter()
        .enumerate()
        .map(|(n, sample)| if n < 500 { *sample } else { sample + 0.12 * sent[n - 390] + 0.12 * sent[n - 500] })
        .collect();
    let agreement = agreement(&one, &of(&moved)).unwrap();
    assert!(!agreement.holds(), "{agreement:?}");
}

/// A loop that is flat to the sweep's edges, −20 dB after 5 ms: both numbers are 20 dB, the edges' ringing aside.
#[test]
fn a_flat_loop_is_flat_to_its_edges() {
    let sent = sent();
    let back: Vec<f32> = (0..sent.len()).map(|n| if n < 240 { 0.0 } else { 0.1 * sent[n - 240] }).collect();
    let margin = LoopGain::new(&take(&back, Clocks::Same).unwrap().response).margin();
    assert!((margin.safe.get() - 20.0).abs() < 0.3, "{margin:?}");
    assert!((margin.phase_aware.unwrap().get() - 20.0).abs() < 0.3, "{margin:?}");
}
