//! The feedback loop of the stage: it rings where, when and as fast as its truth says.

use super::*;
use beforedoors::source::stage::{
    BoxRoom, Choice, EqBand, Feed, Graphic, Hall, Loudspeaker, MicrophonePlace, Output, Room, TrueRing, Truth,
};
use beforedoors::units::Hertz;

/// Speakers who say nothing, before quiet microphones.
fn silent(microphones: usize, hz: u32) -> Stage {
    let script = Script { player: Player::Speaker, every: None, peak: Dbfs::new(-42.0), floor: Dbfs::new(-90.0) };
    let mut stage = Stage::scripted(rate(hz), 5, &vec![script; microphones]);
    for channel in channels(&stage) {
        stage.ask_quiet(channel);
    }
    stage
}

fn output(rings_at: Option<f64>) -> Output {
    Output {
        name: "Mains",
        feed: Feed::Mix,
        loudspeakers: [-3.0, 3.0].map(|x| Loudspeaker { place: (x, -0.8, 2.3), to_audience: true }).to_vec(),
        rings_at: rings_at.map(Db::new),
        fader: Db::new(-20.0),
        limit: Dbfs::new(-10.0),
    }
}

/// A hall of one output, in which the stage rings at an output fader of −6 dB.
fn hall(seed: u64, stage: &Stage, size: [f64; 3], t60: f64) -> Hall {
    Hall {
        seed,
        room: Room::Box(BoxRoom { size, t60 }),
        microphones: stage.microphones(),
        outputs: vec![output(Some(-6.0))],
        delay: Seconds::new(0.004),
        noise: Dbfs::new(-70.0),
    }
}

/// One microphone on a wire to itself: a pure delay of `milliseconds`, gain 1 at a fader of 0 dB and trim 30 dB.
fn wire(milliseconds: f64, fader: f64) -> Stage {
    let stage = silent(1, 48_000);
    let tap = Db::new(-30.0).ratio() as f32;
    let hall = Hall {
        room: Room::Responses(vec![vec![vec![tap]]]),
        outputs: vec![Output { fader: Db::new(fader), ..output(None) }],
        delay: Seconds::new(milliseconds / 1000.0),
        ..hall(1, &stage, [1.0; 3], 1.0)
    };
    stage.with_loudspeakers(&hall)
}

/// The part of a signal around a frequency, in steps of 20 ms: level in dB and phase in turns, unwrapped.
fn line(signal: &[f32], hz: f64, sample_rate: f64) -> Vec<(f64, f64)> {
    let (hop, length) = ((0.02 * sample_rate) as usize, (0.1 * sample_rate) as usize);
    let mut turns = 0.0;
    let mut before: Option<f64> = None;
    let step = std::f64::consts::TAU * hz / sample_rate;
    (0..signal.len().saturating_sub(length) / hop)
        .map(|frame| {
            let (mut re, mut im) = (0.0, 0.0);
            for n in 0..length {
                let window = (std::f64::consts::PI * (n as f64 + 0.5) / length as f64).sin().powi(2);
                let at = frame * hop + n;
                let angle = step * at as f64;
                re += window * f64::from(signal[at]) * angle.cos();
                im -= window * f64::from(signal[at]) * angle.sin();
            }
            let phase = im.atan2(re) / std::f64::consts::TAU;
            let change = before.map_or(0.0, |before| phase - before);
            turns += change - change.round();
            before = Some(phase);
            (decibels(4.0 * re.hypot(im) / length as f64), turns)
        })
        .collect()
}

/// Slope of a straight line through values a step apart.
fn slope(values: &[f64], step: f64) -> f64 {
    let n = values.len() as f64;
    let (middle, mean) = ((n - 1.0) / 2.0, values.iter().sum::<f64>() / n);
    let (up, across) = values.iter().enumerate().fold((0.0, 0.0), |(up, across), (at, value)| {
        let x = at as f64 - middle;
        (up + x * (value - mean), across + x * x)
    });
    up / across / step
}

/// Frequency and growth of the strongest part next to a ring while it lies between two levels, dBFS.
fn measured(signal: &[f32], near: f64, levels: (f64, f64), sample_rate: f64) -> Option<(f64, f64)> {
    let line = line(signal, near, sample_rate);
    let end = line.iter().position(|&(level, _)| level > levels.1)?;
    let begin = line[..end].iter().rposition(|&(level, _)| level < levels.0)? + 1;
    let (level, turns): (Vec<f64>, Vec<f64>) = line[begin..end].iter().copied().unzip();
    (level.len() > 4).then(|| (near + slope(&turns, 0.02), slope(&level, 0.02)))
}

fn truth(stage: &Stage) -> Truth {
    stage.truth().expect("it has loudspeakers")
}

fn cents(a: f64, b: f64) -> f64 {
    1200.0 * (a / b).log2()
}

fn fastest(rings: &[TrueRing]) -> TrueRing {
    *rings.iter().max_by(|a, b| a.growth.total_cmp(&b.growth)).expect("a loop has rings")
}

/// A published worked example: +0.5 dB of loop gain in 10 ms grow at 50 dB/s; a pure delay has its rings at
/// multiples of 1/delay. The truth says so, and the sound does.
#[test]
fn a_pure_delay_grows_by_gain_over_delay() {
    for (milliseconds, gain, growth) in [(10.0, 0.5, 50.0), (20.0, 3.0, 150.0), (100.0, 1.0, 10.0)] {
        let mut stage = wire(milliseconds, gain);
        let truth = truth(&stage);
        assert!((truth.margin().get() + gain).abs() < 1e-4, "{:?}", truth.margin());
        assert!((truth.rings(1)[0].growth - growth).abs() < 1e-3 * growth);
        let heard = listen(&mut stage, 60.0 / growth + 0.5).swap_remove(0);
        let level: Vec<f64> = heard.chunks_exact(960).map(|part| decibels(rms(part))).collect();
        let end = level.iter().position(|&level| level > -25.0).expect("it rings");
        let begin = level[..end].iter().rposition(|&level| level < -55.0).expect("from afar") + 1;
        let found = slope(&level[begin..end], 0.02);
        assert!((found / growth - 1.0).abs() < 0.05, "{found} dB/s, not {growth}");
    }
}

/// The sound of a ring against the root of L(s) = 1: within 3 cents and 10 % while nothing bends.
#[test]
fn a_ring_is_the_root_of_the_loop() {
    let rooms = [
        ([8.0, 6.0, 3.0], 0.4, 1, 1.0),
        ([11.0, 9.0, 4.0], 0.7, 2, 1.0),
        ([16.0, 11.0, 6.0], 1.3, 1, 1.5),
        ([26.0, 15.0, 8.0], 2.4, 1, 1.5),
    ];
    for (seed, (size, t60, microphones, over)) in rooms.into_iter().enumerate() {
        let stage = silent(microphones, 48_000);
        let hall = hall(seed as u64, &stage, size, t60);
        let mut stage = stage.with_loudspeakers(&hall);
        let before = truth(&stage).margin();
        assert!((before.get() - 14.0).abs() < 0.01, "the limit is at −6 dB: {before:?}");
        stage.set_output_fader(0, Db::new(-6.0 + over));
        let truth = truth(&stage);
        assert!((truth.margin().get() + over).abs() < 0.01);
        let ring = fastest(&truth.rings(8));
        let heard = listen(&mut stage, (85.0 / ring.growth).min(30.0) + 1.0).swap_remove(0);
        let (hz, growth) = measured(&heard, ring.frequency.get(), (-48.0, -24.0), 48_000.0).expect("it rings");
        let off = cents(hz, ring.frequency.get());
        println!("T60 {t60}: {:.2} Hz, {off:.2} cents, {growth:.2} of {:.2} dB/s", ring.frequency.get(), ring.growth);
        assert!(off.abs() < 3.0, "{hz} Hz, not {ring:?}");
        assert!((growth / ring.growth - 1.0).abs() < 0.1, "{growth} dB/s, not {ring:?}");
    }
}

/// Nyquist: 0.3 dB under the limit a cough dies away, 0.3 dB over it grows; with one output and with two.
#[test]
fn the_margin_is_the_limit() {
    for outputs in [1, 2] {
        for (over, grows) in [(-0.3, false), (0.3, true)] {
            let stage = silent(2, 48_000);
            let mut hall = Hall { noise: Dbfs::new(-110.0), ..hall(9, &stage, [7.0, 5.0, 2.8], 0.35) };
            let monitor = Loudspeaker { place: (-0.6, -0.4, 0.3), to_audience: false };
            hall.outputs.push(Output {
                name: "Monitor",
                feed: Feed::Sends(vec![(ChannelId::new(0), Db::ZERO)]),
                loudspeakers: vec![monitor],
                ..output(Some(0.0))
            });
            let mut stage = stage.with_loudspeakers(&hall);
            assert_eq!(stage.outputs().collect::<Vec<_>>(), ["Mains", "Monitor"]);
            let monitor = if outputs == 2 { -2.0 } else { f64::NEG_INFINITY };
            stage.set_output_fader(1, Db::new(monitor));
            let margin = truth(&stage).margin_of(0);
            stage.set_output_fader(0, stage.output_fader(0) + margin + Db::new(over));
            let truth = truth(&stage);
            assert!((truth.margin_of(0).get() + over).abs() < 0.01, "{:?}", truth.margin_of(0));
            assert!(truth.safe_margin(0) <= truth.margin_of(0));
            let ring = fastest(&truth.rings(12));
            assert_eq!(ring.growth > 0.0, grows, "{ring:?}");
            listen(&mut stage, 0.5);
            stage.cough(ChannelId::new(0));
            let heard = listen(&mut stage, 4.0).swap_remove(0);
            let line = line(&heard, ring.frequency.get(), 48_000.0);
            let change = line[170].0 - line[70].0;
            println!("{outputs} outputs, {over:+} dB: {change:.1} dB in 2 s, {:.1} by the root", 2.0 * ring.growth);
            assert!((change / (2.0 * ring.growth) - 1.0).abs() < 0.15, "{change} dB, {ring:?}");
        }
    }
}

/// Colour of a closed loop in phase, −20 lg(1 − g): 12, 6, 3 and 1 dB before ringing +2.5, +6.0, +10.7 and
/// +19.3 dB; in opposite phase −1.95, −3.53, −4.65, −5.53 dB.
#[test]
fn colour_before_ringing() {
    for (margin, in_phase, opposite) in
        [(12.0, 2.51, -1.95), (6.0, 6.04, -3.53), (3.0, 10.69, -4.65), (1.0, 19.27, -5.53)]
    {
        let (mut closed, mut open) = (wire(10.0, -margin), wire(10.0, -margin));
        open.mute(ChannelId::new(0));
        for stage in [&mut closed, &mut open] {
            listen(stage, 3.0);
        }
        // The same seed: the same noise, with the loop and without.
        let (closed, open) = (listen(&mut closed, 16.0).swap_remove(0), listen(&mut open, 16.0).swap_remove(0));
        for (offset, expected) in [(0.0, in_phase), (50.0, opposite)] {
            let gain = [500.0, 1000.0, 2500.0].map(|hz| transfer(&open, &closed, hz + offset));
            let found = decibels(gain.iter().sum::<f64>() / 3.0);
            assert!((found - expected).abs() < 0.25, "{margin} dB, {offset}: {found:.2} dB, not {expected}");
        }
    }
}

/// |H| between two signals at a frequency, over frames of 4 s.
fn transfer(from: &[f32], to: &[f32], hz: f64) -> f64 {
    let frame = 4 * 48_000;
    let bin = |signal: &[f32]| {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, &x) in signal.iter().enumerate() {
            let window = (std::f64::consts::PI * (n as f64 + 0.5) / frame as f64).sin().powi(2);
            let angle = std::f64::consts::TAU * hz / 48_000.0 * n as f64;
            re += window * f64::from(x) * angle.cos();
            im += window * f64::from(x) * angle.sin();
        }
        (re, im)
    };
    let (mut cross, mut power) = ((0.0, 0.0), 0.0);
    for (from, to) in from.chunks_exact(frame).zip(to.chunks_exact(frame)) {
        let ((a, b), (c, d)) = (bin(from), bin(to));
        cross = (cross.0 + a * c + b * d, cross.1 + a * d - b * c);
        power += a * a + b * b;
    }
    cross.0.hypot(cross.1) / power
}

/// A cut of 6 dB at the only in-phase frequency that matters lets the fader go 6 dB higher; the same on the
/// channel; and the truth with the cut is the truth of the stage that has it.
#[test]
fn cuts_move_the_limit() {
    let stage = silent(1, 48_000);
    let hall = hall(3, &stage, [9.0, 7.0, 3.2], 0.6);
    let mut stage = stage.with_loudspeakers(&hall);
    let before = truth(&stage);
    let ring = before.rings(1)[0];
    let cut = Graphic::ThirdOctave.band(ring.frequency, Db::new(-6.0));
    let expected = before.with_band(0, cut);
    assert!(stage.cut(0, cut));
    assert_eq!(stage.cuts(0), [cut]);
    let after = truth(&stage);
    assert_eq!(after.margin(), expected.margin());
    assert!(after.margin() > before.margin());
    // L itself changes by the response of the cut.
    let (a, b) = (before.open_loop(0, ring.frequency), after.open_loop(0, ring.frequency));
    let down = 20.0 * (b / a).norm().log10();
    assert!((-6.01..-2.9).contains(&down), "{down}");
    stage.flatten(0);
    assert!(stage.cut_channel(ChannelId::new(0), cut));
    let on_channel = truth(&stage);
    assert!((on_channel.margin() - after.margin()).abs().get() < 1e-9);
    stage.set_fader(ChannelId::new(0), Db::new(-4.0));
    let lower = truth(&stage).margin();
    assert!((lower - on_channel.margin() - Db::new(4.0)).abs().get() < 1e-6);
    stage.mute(ChannelId::new(0));
    assert_eq!(truth(&stage).margin().get(), f64::INFINITY);
    stage.open(ChannelId::new(0));
    assert!(stage.is_open(ChannelId::new(0)));
}

/// Four equal microphones at one place have 6 dB less than one of them at worst (20 lg 4 = 12 dB), and less than
/// one by itself at any rate: 10 lg NOM is the average rule.
#[test]
fn more_open_microphones_have_less_margin() {
    let (mut one, mut all, count) = (0.0, 0.0, 6);
    for seed in 0..count {
        let stage = silent(4, 16_000);
        let hall = hall(seed, &stage, [12.0, 9.0, 4.0], 0.8);
        let mut stage = stage.with_loudspeakers(&hall);
        all += truth(&stage).margin().get();
        for open in channels(&stage) {
            channels(&stage).into_iter().for_each(|channel| stage.mute(channel));
            stage.open(open);
            one += truth(&stage).margin().get() / 4.0;
        }
    }
    let lost = (one - all) / f64::from(count as u32);
    println!("four microphones cost {lost:.1} dB against the average single one");
    assert!((3.5..8.5).contains(&lost), "{lost}");
}

/// Bit for bit, whatever the blocks, with the same calls before the same frames.
#[test]
fn the_loop_is_the_same_whatever_the_blocks() {
    let run = |seed, frames| {
        let stage = silent(3, 16_000);
        let hall = Hall::drawn(seed, stage.microphones(), 2);
        let mut stage = stage.with_loudspeakers(&hall);
        let mut heard = listen_in(&mut stage, 0.5, frames);
        let mut more = |stage: &mut Stage, seconds| {
            for (all, more) in heard.iter_mut().zip(listen_in(stage, seconds, frames)) {
                all.extend(more);
            }
        };
        let (limit, monitor) = (stage.output_fader(0) + Db::new(20.5), stage.output_fader(1) + Db::new(15.0));
        stage.set_output_fader(0, limit);
        stage.set_output_fader(1, monitor);
        stage.ask_play(ChannelId::new(1));
        more(&mut stage, 2.0011);
        stage.cut(0, EqBand::peak(Hertz::new(800.0), 4.318, Db::new(-6.0)));
        stage.mute(ChannelId::new(2));
        more(&mut stage, 0.0203);
        stage.set_fader(ChannelId::new(0), Db::new(-3.0));
        stage.turn_trim(ChannelId::new(0), Db::new(2.0));
        more(&mut stage, 2.0);
        heard
    };
    let first = run(12, 1024);
    for frames in [1, 37, 160, 5000] {
        assert!(first == run(12, frames), "blocks of {frames}");
    }
    assert!(first != run(13, 1024));
    assert!(first.iter().flatten().all(|x| x.abs() <= 1.0));
}

#[test]
fn reading_allocates_nothing() {
    let stage = silent(4, 48_000);
    let hall = Hall::drawn(3, stage.microphones(), 1);
    let mut stage = stage.with_loudspeakers(&hall);
    stage.set_output_fader(0, stage.output_fader(0) + Db::new(22.0));
    let mut block = BlockBuf::new(4, 1000);
    for round in 0..20 {
        assert_no_alloc::assert_no_alloc(|| {
            let Ok(_) = stage.read(&mut block);
            stage.cut(0, EqBand::peak(Hertz::new(500.0 + 10.0 * f64::from(round)), 4.0, Db::new(-3.0)));
            stage.set_output_fader(1, Db::new(-20.0));
        });
    }
    assert!(block.as_block().channel(0).iter().all(|x| x.is_finite()));
}

/// A ring stays where the loudspeaker's bend takes away what the loop has too much: a steady square wave y of a
/// limit 1 and a gain g at y = tanh(g y), for 3 dB 0.814 or −1.79 dB.
#[test]
fn a_ring_ends_where_the_loudspeaker_bends() {
    let mut stage = wire(10.0, 3.0);
    let heard = listen(&mut stage, 4.0).swap_remove(0);
    // The limit is −10 dBFS; the way back loses nothing and adds a little noise.
    let end = decibels(heard[150_000..].iter().fold(0.0, |peak: f64, &x| peak.max(f64::from(x).abs())));
    assert!((end + 11.79).abs() < 0.3, "{end}");
}

/// What the best six cuts buy is what the truth says with them, and what is free to choose more buys no less: a
/// graphic equaliser as much as one cut at the top ring, any frequency of the same widths as much as graphic bands.
#[test]
fn the_yardstick_is_true() {
    for seed in seeds().step_by(10) {
        let stage = silent(2, 48_000);
        let hall = Hall::drawn(40 + seed, stage.microphones(), 0);
        let stage = stage.with_loudspeakers(&hall);
        let truth = truth(&stage);
        let margin = truth.margin().get();
        let buys = |choice, deepest| {
            let best = truth.best_cuts(0, choice, 6, Db::new(deepest));
            let cut = best.bands.iter().fold(truth.clone(), |truth, &band| truth.with_band(0, band));
            let bought = cut.margin().get() - margin;
            println!("{seed} {choice:?}: {bought:.2} dB by {} cuts", best.bands.len());
            assert!((bought - best.bought.get()).abs() < 0.05, "{bought} {:?}", best.bought);
            assert!(best.bands.len() <= 6 && best.bands.iter().all(|band| (-deepest..0.0).contains(&band.gain.get())));
            bought
        };
        let third = buys(Choice::Graphic(Graphic::ThirdOctave), 9.0);
        let top = Graphic::ThirdOctave.band(truth.rings(1)[0].frequency, Db::new(-3.0));
        assert!(third >= truth.with_band(0, top).margin().get() - margin);
        assert!(buys(Choice::PARAMETRIC, 9.0) > third - 0.2);
        assert!(buys(Choice::Graphic(Graphic::Octave), 6.0) >= 0.0);
        assert!(buys(Choice::Graphic(Graphic::ThirdOctave), 3.0) < third + 0.2);
        assert!(truth.best_cuts(0, Choice::PARAMETRIC, 0, Db::new(9.0)).bands.is_empty());
    }
}

/// Against every pair of cuts of up to 3 dB: the search is no worse than trying them all, but for 0.1 dB.
#[test]
fn the_yardstick_is_near_the_best_pair() {
    for seed in 0..2 {
        let stage = silent(1, 16_000);
        let hall = hall(60 + seed, &stage, [6.0, 5.0, 2.6], 0.3);
        let truth = truth(&stage.with_loudspeakers(&hall));
        let bands: Vec<EqBand> = Graphic::TwoThirdOctave
            .frequencies()
            .filter(|frequency| (100.0..7000.0).contains(&frequency.get()))
            .map(|frequency| Graphic::TwoThirdOctave.band(frequency, Db::new(-3.0)))
            .collect();
        let mut best = f64::NEG_INFINITY;
        for (at, &a) in bands.iter().enumerate() {
            let one = truth.with_band(0, a);
            for &b in &bands[at + 1..] {
                best = best.max(one.with_band(0, b).margin().get());
            }
        }
        let exhaustive = best - truth.margin().get();
        let found = truth.best_cuts(0, Choice::Graphic(Graphic::TwoThirdOctave), 2, Db::new(3.0));
        println!("{seed}: {found:?}, {exhaustive:.2} dB by trying every pair");
        assert!(found.bought.get() > exhaustive - 0.1);
    }
}

/// A ring that one microphone makes alone, next to a loudspeaker, is that microphone's.
#[test]
fn a_ring_names_its_microphone() {
    let stage = silent(3, 16_000);
    let mut hall = hall(2, &stage, [14.0, 10.0, 5.0], 0.7);
    // Someone walked out in front of a loudspeaker.
    hall.microphones[1].place = (-3.0, -2.0, 1.9);
    let stage = stage.with_loudspeakers(&hall);
    let ring = truth(&stage).rings(1)[0];
    assert_eq!((ring.output, ring.channel), (0, ChannelId::new(1)));
    assert!((0.5..=1.0).contains(&ring.share), "{ring:?}");
}

/// The school show with mains and a monitor: at its right trims every microphone has a loop, and with the faders
/// low it plays as it does without.
#[test]
fn the_school_show_has_a_loop() {
    let mut stage = waiting(4, Mood::Normal, 16_000);
    trim_to(&mut stage, -9.0);
    let places = stage.microphones();
    assert_eq!(places.len(), 9);
    let hall = Hall::drawn(4, places, 1);
    let mut with = stage.with_loudspeakers(&hall);
    let margin = truth(&with).margin().get();
    assert!((10.0..20.1).contains(&margin), "{margin}");
    let mut without = waiting(4, Mood::Normal, 16_000);
    trim_to(&mut without, -9.0);
    for output in 0..2 {
        with.set_output_fader(output, Db::new(-60.0));
    }
    let (a, b) = (loud(&mut with), loud(&mut without));
    assert!((a - b).abs() < 0.2, "{a} and {b} dBFS");
}

fn loud(stage: &mut Stage) -> f64 {
    listen(stage, 0.5);
    stage.ask_loudest(ChannelId::new(2));
    decibels(rms(&listen(stage, 6.0)[2]))
}

/// Controls of what is not there do nothing.
#[test]
fn without_loudspeakers_the_controls_are_still() {
    let mut stage = silent(1, 16_000);
    assert!(stage.truth().is_none() && stage.outputs().next().is_none());
    assert!(!stage.cut(0, EqBand::high_pass(Hertz::new(100.0))) && stage.cuts(0).is_empty());
    stage.set_output_fader(7, Db::new(3.0));
    stage.mute(ChannelId::new(9));
    assert_eq!((stage.output_fader(7), stage.fader(ChannelId::new(9))), (Db::ZERO, Db::ZERO));
    // A hall without anything in it, and one whose microphone is not on the stage.
    let nobody = MicrophonePlace { channel: ChannelId::new(40), place: (0.0, 1.0, 1.5), measures: false };
    for hall in [
        Hall { outputs: Vec::new(), microphones: Vec::new(), ..Hall::drawn(1, Vec::new(), 0) },
        Hall::drawn(2, vec![nobody], 1),
        Hall { room: Room::Responses(Vec::new()), ..Hall::drawn(3, vec![nobody], 1) },
        Hall { room: Room::Responses(vec![vec![vec![f32::NAN, f32::INFINITY]]]), ..Hall::drawn(3, vec![nobody], 1) },
    ] {
        let mut stage = silent(1, 16_000).with_loudspeakers(&hall);
        let heard = listen(&mut stage, 0.1);
        assert!(heard[0].iter().all(|x| x.is_finite()));
        let truth = truth(&stage);
        assert!(truth.margin().get() == f64::INFINITY && truth.rings(5).is_empty());
        assert!(truth.open_loop(9, Hertz::new(100.0)).norm() == 0.0);
    }
}

/// A hall of impossible numbers is still one that can be played.
#[test]
fn nonsense_makes_no_noise() {
    let nan = f64::NAN;
    for value in [nan, f64::INFINITY, f64::NEG_INFINITY, 0.0, -3.0] {
        let stage = silent(1, 16_000);
        let channel = ChannelId::new(0);
        let hall = Hall {
            seed: 1,
            room: Room::Box(BoxRoom { size: [value, 5.0, value], t60: if value == 0.0 { value } else { 0.5 } }),
            microphones: vec![MicrophonePlace { channel, place: (value, value, value), measures: false }],
            outputs: vec![Output {
                name: "",
                feed: Feed::Sends(vec![(channel, Db::new(value.min(0.0)))]),
                loudspeakers: vec![Loudspeaker { place: (value, 0.0, value), to_audience: true }],
                rings_at: Some(Db::new(value)),
                fader: Db::new(value),
                limit: Dbfs::new(value),
            }],
            delay: Seconds::new(value),
            noise: Dbfs::new(value),
        };
        let mut stage = stage.with_loudspeakers(&hall);
        stage.set_output_fader(0, Db::new(nan));
        stage.cut(0, EqBand::peak(Hertz::new(value), value, Db::new(value)));
        stage.cut_channel(channel, EqBand::peak(Hertz::new(1000.0), value, Db::new(value)));
        let heard = listen(&mut stage, 0.2);
        assert!(heard[0].iter().all(|x| x.is_finite()), "{value}");
        let truth = truth(&stage);
        assert!(!truth.margin().get().is_nan() && !truth.safe_margin(0).get().is_nan(), "{value}");
        truth.best_cuts(0, Choice::Graphic(Graphic::Octave), 2, Db::new(value));
    }
}
