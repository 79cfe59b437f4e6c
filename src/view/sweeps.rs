//! Sweeps in words and as records: how far a loop is from ringing and what would help, or why nothing is told.
//!
//! A capture that is unfit has its reason in the place of numbers. Levels in dB; numbers in records are rounded to 0.001, what
//! is not known is null.

use serde_json::{Value, json};

use super::lengths;
use super::numbers::{self, span, thousandths};
use super::ringout::{self, frequency};
use crate::coach::ringout::{Band, Equaliser};
use crate::engine::sweep::{Apart, Cut, Cuts, Loop, Margin, Refusal, Ring, SPARE, Shape};
use crate::plan::quantity::Metres;
use crate::units::{Db, Seconds};

pub const MARGIN_KEYS: &str = "\
One JSON object a line, each with a `type`:

margin: channel (from 1, or \"together\": all measured microphones open), margin_db (more gain until it rings), \
safe_margin_db (with a way that is up to 3 cm off, less what noise could hide: never over the truth), \
any_phase_margin_db (from the magnitude alone), first_ring_hz, next_rings \
(frequency_hz, gain_db each; the first five), fader_db (how far the fader may go, the wanted spare kept), \
highest_fader_db (where that is on the desk, by --faders; this microphone alone open), wanted_db, \
cuts_needed (none, enough, move), cuts (frequency_hz, q, depth_db, margin_db after each), buys_db, drift_ppm, \
signal_to_noise_db; together: weakest_channel (the one that rings first, each alone); or refused (true) with kind and \
reason

What is not known is null.";

pub const DELAY_KEYS: &str = "\
One JSON object a line, each with a `type`:

delay: channel (from 1), mains_later_ms (the mains' sound after the second loudspeaker's, at this place), mains_farther_m \
(the same as a way at 20 °C), set_ms (from least to most; null: none is wanted); or refused (true) with kind and reason

sweep_step (measured now): time_s, step (switch, again, both_done, or what `margin` tells), alone (mains, second), level_dbfs, \
sentence, then";

/// "Channel 1: the mains arrive 34.2 ms later, 11.7 m farther".
pub fn delay_lines(channel: usize, apart: &Apart) -> Vec<String> {
    let ms = |time: Seconds| format!("{:.1}", 1e3 * time.get().abs());
    let order = if apart.delay.is_some() { "later" } else { "earlier" };
    let far = if apart.delay.is_some() { "farther" } else { "nearer" };
    let way = lengths::told(Metres::new(apart.metres.abs()));
    let mut lines = vec![format!(
        "Channel {channel}: the mains arrive {} ms {order} than the second loudspeaker, {way} {far}",
        ms(apart.seconds)
    )];
    lines.push(match apart.delay {
        Some([least, most]) => format!(
            "  → set the second loudspeaker’s delay to {} to {} ms: the stage is still heard first",
            ms(least),
            ms(most)
        ),
        None => "  it needs no delay here: the mains are heard first".into(),
    });
    lines
}

pub fn delay_record(channel: usize, apart: &Apart) -> Value {
    let ms = |time: Seconds| thousandths(1e3 * time.get());
    json!({
        "type": "delay", "channel": channel, "mains_later_ms": ms(apart.seconds),
        "mains_farther_m": thousandths(apart.metres), "set_ms": apart.delay.map(|delay| delay.map(ms)),
    })
}

/// "Channel 1: 9.2 dB left before it rings, 7.3 dB safely, first at 2.44 kHz"; `marked`: the desk's faders are known.
pub fn margin_lines(
    who: &str,
    found: &Loop,
    wanted: Db,
    cuts: Option<&Cuts>,
    equaliser: Equaliser,
    marked: bool,
) -> Vec<String> {
    let mut lines = told(who, &found.margin, wanted);
    if marked && found.margin.safe.get().is_finite() {
        lines.push(format!("  highest safe fader {} on the desk", numbers::change(found.highest_fader(wanted))));
    }
    lines.extend(cuts.into_iter().flat_map(|cuts| cut_lines(cuts, equaliser)));
    lines.push(quality(found.signal_to_noise, found.drift_ppm));
    lines
}

/// All open at once, and which of them to see to first.
pub fn together_lines(margin: &Margin, wanted: Db, weakest: Option<usize>) -> Vec<String> {
    let mut lines = told("All of them open", margin, wanted);
    lines.extend(weakest.map(|at| format!("  channel {} rings first: move it or lower it before the others", at + 1)));
    lines
}

fn told(who: &str, margin: &Margin, wanted: Db) -> Vec<String> {
    let Some(first) = margin.next.first() else {
        return vec![format!("{who}: nothing comes back, so it can’t ring")];
    };
    let most = margin.phase_aware.unwrap_or(margin.safe);
    let mut lines = vec![if most >= Db::ZERO {
        let safely = match margin.safe {
            safe if most - safe < Db::new(0.1) => String::new(),
            safe if safe > Db::ZERO => format!(", {} safely", span(safe)),
            _ => ", none safely".into(),
        };
        format!("{who}: {} left before it rings{safely}, first at {}", span(most), frequency(first.frequency))
    } else {
        format!("{who}: it rings, {} over its limit, at {}", span(most), frequency(first.frequency))
    }];
    let next: Vec<String> = margin.next.iter().skip(1).map(|ring| frequency(ring.frequency)).collect();
    if !next.is_empty() {
        lines.push(format!("  then at {}", next.join(", ")));
    }
    let fader = margin.safe - wanted;
    lines.push(if fader >= Db::ZERO {
        format!("  its fader may go UP {}, {} are kept as a spare", span(fader), span(wanted))
    } else {
        format!("  its fader DOWN {}: {} are wanted as a spare", span(fader), span(wanted))
    });
    lines
}

/// What the equaliser can do, and whether it is worth it.
fn cut_lines(cuts: &Cuts, equaliser: Equaliser) -> Vec<String> {
    let (head, made): (String, &[Cut]) = match cuts {
        Cuts::NoneNeeded { .. } => ("no cuts needed".into(), &[]),
        Cuts::Enough { cuts, .. } => ("cuts that are enough:".into(), cuts),
        Cuts::Move { buys, cuts, .. } => {
            (format!("cuts can buy only {} here: move the microphone or the loudspeaker", span(*buys)), cuts)
        }
    };
    let each = made.iter().map(|cut| format!("    {}: {} left then", band(cut, equaliser), span(cut.margin)));
    std::iter::once(format!("  {head}")).chain(each).collect()
}

/// "The 2.5k band DOWN 3 dB", as it is printed on the desk.
fn band(cut: &Cut, equaliser: Equaliser) -> String {
    let which = match (cut.band.shape, equaliser.nearest(cut.band.frequency)) {
        (Shape::LowShelf, _) => "Lo".to_owned(),
        (Shape::HighShelf, _) => "Hi".to_owned(),
        (_, Some(printed)) => format!("the {} band", ringout::band(Band::Graphic(printed))),
        (_, None) => ringout::setting(cut.band.frequency),
    };
    format!("{which} DOWN {}", span(cut.band.gain))
}

pub(super) fn quality(signal_to_noise: Db, drift_ppm: f64) -> String {
    format!("  measured {} over the noise, clocks apart by {drift_ppm:.0} ppm", span(signal_to_noise))
}

/// Why nothing is told, and what to do about it.
pub fn refused(refusal: Refusal) -> String {
    match refusal {
        Refusal::NotASweep => "what was sent holds no single rising sweep. Give the file that was played".into(),
        Refusal::TooShort { seconds } => {
            format!("the capture ends after {:.1} s, before the sweep does. Record until it is over", seconds.get())
        }
        Refusal::NoSignal { level } => format!(
            "nothing of the sweep arrived ({}). Look whether the output is connected and up",
            numbers::dbfs(level)
        ),
        Refusal::Clipped { peak, places } => format!(
            "the capture is clipped at {} in {places} places. Gain down, and measure again",
            numbers::dbfs(peak)
        ),
        Refusal::WrongChannel { explained, level } => format!(
            "sound arrived ({}), but only {:.0} % of it can be the sweep. Look at the channel and the loop",
            numbers::dbfs(level),
            100.0 * explained
        ),
        Refusal::DoorSlam { at, over_sweep } => format!(
            "a bang at {:.1} s, {} re the sweep. Measure again when it is quiet",
            at.get(),
            numbers::change(over_sweep)
        ),
        Refusal::Talker { seconds, over_sweep } => format!(
            "somebody talks or plays for {:.1} s, {} re the sweep. Ask for quiet, and measure again",
            seconds.get(),
            numbers::change(over_sweep)
        ),
        Refusal::Limited { bent } => format!(
            "what came back does not follow the sweep ({} bent): a limiter, compressor or overdriven stage, or sound lost \
             on a busy laptop. Take it out, close other programs, and measure quieter",
            numbers::change(bent)
        ),
        Refusal::TooNoisy { octave, signal_to_noise } => format!(
            "around {} the sweep stands only {} over the noise. A little louder, or a quieter hall",
            frequency(octave),
            span(signal_to_noise)
        ),
        Refusal::SoundLost { by } => format!(
            "{:.0} ms of sound were lost on the way out or in. Close other programs, and measure again",
            1e3 * by.get().abs()
        ),
        Refusal::Moved { worst, at } => format!(
            "the two sweeps differ by {} at {}: a door or a person moved. Keep still, and measure again",
            span(worst),
            frequency(at)
        ),
    }
}

pub const fn kind(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::NotASweep => "not_a_sweep",
        Refusal::TooShort { .. } => "too_short",
        Refusal::NoSignal { .. } => "no_signal",
        Refusal::Clipped { .. } => "clipped",
        Refusal::WrongChannel { .. } => "wrong_channel",
        Refusal::DoorSlam { .. } => "door_slam",
        Refusal::Talker { .. } => "talker",
        Refusal::Limited { .. } => "limited",
        Refusal::TooNoisy { .. } => "too_noisy",
        Refusal::SoundLost { .. } => "sound_lost",
        Refusal::Moved { .. } => "moved",
    }
}

pub fn refused_record(what: &str, channel: usize, refusal: Refusal) -> Value {
    json!({ "type": what, "channel": channel, "refused": true, "kind": kind(refusal), "reason": refused(refusal) })
}

pub fn margin_record(channel: usize, found: &Loop, wanted: Db, cuts: Option<&Cuts>) -> Value {
    let mut record = loop_record(&found.margin, wanted);
    record["channel"] = channel.into();
    let highest = found.highest_fader(wanted).get();
    record["highest_fader_db"] = highest.is_finite().then(|| thousandths(highest)).into();
    record["drift_ppm"] = thousandths(found.drift_ppm);
    record["signal_to_noise_db"] = thousandths(found.signal_to_noise.get());
    let (needed, made, buys): (_, &[Cut], _) = match cuts {
        None => return record,
        Some(Cuts::NoneNeeded { .. }) => ("none", &[], None),
        Some(Cuts::Enough { cuts, .. }) => ("enough", cuts, None),
        Some(Cuts::Move { cuts, buys, .. }) => ("move", cuts, Some(thousandths(buys.get()))),
    };
    let cut = |cut: &Cut| {
        json!({
            "frequency_hz": thousandths(cut.band.frequency.get()), "q": thousandths(cut.band.q),
            "depth_db": thousandths(cut.band.gain.get()), "margin_db": thousandths(cut.margin.get()),
        })
    };
    record["cuts_needed"] = needed.into();
    record["cuts"] = made.iter().map(cut).collect();
    record["buys_db"] = buys.into();
    record
}

pub fn together_record(margin: &Margin, wanted: Db, weakest: Option<usize>) -> Value {
    let mut record = loop_record(margin, wanted);
    record["weakest_channel"] = weakest.map(|at| at + 1).into();
    record
}

fn loop_record(margin: &Margin, wanted: Db) -> Value {
    let finite = |db: Db| db.get().is_finite().then(|| thousandths(db.get()));
    let ring = |ring: &Ring| json!({ "frequency_hz": thousandths(ring.frequency.get()), "gain_db": thousandths(ring.gain.get()) });
    json!({
        "type": "margin", "channel": "together",
        "margin_db": margin.phase_aware.and_then(finite), "safe_margin_db": finite(margin.safe),
        "any_phase_margin_db": finite(margin.at_any_phase),
        "first_ring_hz": margin.next.first().map(|ring| thousandths(ring.frequency.get())),
        "next_rings": margin.next.iter().map(ring).collect::<Vec<_>>(),
        "fader_db": finite(margin.safe - wanted), "wanted_db": thousandths(wanted.get()),
    })
}

/// What is kept under the limit where nobody says more.
pub const USUAL_SPARE: Db = SPARE;
