//! Every trouble has a sentence, a headline that is read from two metres, and at most twelve words of help.

use beforedoors::coach::linecheck::{LineInput, Wire};
use beforedoors::coach::ready::{Baseline, ReadyAdvice, ReadyStep, Trouble};
use beforedoors::event::Checked;
use beforedoors::units::{ChannelId, Db, Dbfs, SampleRate, Seconds, SourceKind};
use beforedoors::view::Setup;
use beforedoors::view::ready::{Look, ready_headline, ready_record, ready_step};

fn advice(step: ReadyStep, channel: Option<u16>, wire: Wire) -> ReadyAdvice {
    let channel = channel.map(ChannelId::new);
    ReadyAdvice {
        step,
        channel,
        input: channel.map(|channel| LineInput::new(channel, SourceKind::SoloVocal, wire, false)),
        was: channel.map(|_| Dbfs::new(-71.3)),
        floor: None,
        heard: Seconds::new(3.0),
        wanted: Seconds::new(20.0),
        more: 0,
        left: 0,
        unknown: 0,
        judged: 12,
    }
}

fn troubles() -> Vec<Trouble> {
    let rate = |hz| SampleRate::new(hz).unwrap();
    let all = vec![
        Trouble::Nothing,
        Trouble::OtherDevice,
        Trouble::Rate { was: rate(48_000), now: rate(44_100) },
        Trouble::Channels { was: 64, now: 2 },
        Trouble::Channels { was: 2, now: 16 },
        Trouble::Dead,
        Trouble::Everything { by: Db::new(-12.4) },
        Trouble::Floor { by: Db::new(11.0) },
        Trouble::Floor { by: Db::new(-8.0) },
        Trouble::Folder,
        Trouble::Disk { left: Seconds::new(5400.0) },
        Trouble::Battery { left: Some(Seconds::new(2400.0)) },
        Trouble::Sleep,
        Trouble::Clock,
    ];
    // A trouble more wants a line above.
    for trouble in &all {
        match trouble {
            Trouble::Nothing | Trouble::OtherDevice | Trouble::Rate { .. } | Trouble::Channels { .. } => {}
            Trouble::Dead | Trouble::Everything { .. } | Trouble::Floor { .. } | Trouble::Folder => {}
            Trouble::Disk { .. } | Trouble::Battery { .. } | Trouble::Sleep | Trouble::Clock => {}
        }
    }
    all
}

fn said(advice: &ReadyAdvice) -> (String, String, String) {
    let names: Vec<String> = (1..=64).map(|number| format!("Player {number}")).collect();
    let left = Baseline { device: "Desk".into(), rate: SampleRate::new(48_000).unwrap(), lines: Vec::new() };
    let before = Checked { left, ended: None };
    let look = Look { names: &names, setup: &Setup::default(), before: &before, device: "Mixer", clock: "18:20" };
    let next = ready_step(advice, &look);
    let record = ready_record(Seconds::new(1.0), advice, &next, None).to_string();
    assert!(!record.contains('−'), "{record}");
    (next.sentence, next.then, next.proof)
}

#[test]
fn every_trouble_is_short_and_says_what_to_look_at() {
    for trouble in troubles() {
        for wire in [Wire::Microphone, Wire::Radio, Wire::Di, Wire::Line] {
            let of_a_line = matches!(trouble, Trouble::Dead | Trouble::Floor { .. });
            let advice = advice(ReadyStep::Do(trouble), of_a_line.then_some(63), wire);
            let headline = ready_headline(&advice, None);
            assert!(headline.chars().count() <= 26, "{headline}");
            let (sentence, then, _) = said(&advice);
            assert!(!sentence.is_empty() && then.split_whitespace().count() <= 12, "{sentence} {then}");
        }
    }
    for step in [ReadyStep::Listen, ReadyStep::Ready] {
        let headline = ready_headline(&advice(step, None, Wire::Line), Some(599.5));
        assert!(headline.chars().count() <= 26, "{headline}");
    }
}

#[test]
fn a_silent_line_is_told_by_how_it_is_plugged_in() {
    let dead = |wire| said(&advice(ReadyStep::Do(Trouble::Dead), Some(6), wire));
    let (sentence, then, proof) = dead(Wire::Radio);
    assert_eq!(sentence, "7 Player 7 is silent; it was not at the soundcheck");
    assert_eq!(then, "look at the pack’s switch and battery, its cable, its mute");
    assert_eq!(proof, "−71.3 dBFS at the soundcheck, digital silence now");
    assert!(dead(Wire::Di).1.contains("an active DI wants +48"));
    assert!(!dead(Wire::Microphone).1.contains("battery"));
}

#[test]
fn ready_says_what_it_could_not_judge() {
    let ready = ReadyAdvice { unknown: 0b100, ..advice(ReadyStep::Ready, None, Wire::Line) };
    let (sentence, _, proof) = said(&ready);
    assert_eq!(sentence, "Ready, as far as I can hear");
    assert!(proof.contains("12 lines as at the soundcheck") && proof.contains("3 Player 3"), "{proof}");
    assert_eq!(ready_headline(&ready, Some(12.0)), "Ready, 1 not judged");
    let left = ReadyAdvice { left: 1, ..ready };
    assert_eq!(said(&left).0, "Ready, with 1 thing left as it is");
}
