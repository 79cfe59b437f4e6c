//! A ring-out by typed lines, and a desk that says what is wrong with an order.

use std::sync::mpsc;

use beforedoors::cli::Exit;
use beforedoors::cli::ringout::live::{Pace, Telling, run};
use beforedoors::coach::ringout::{Band, Equaliser, Output, Place, RingAnswer, RingOutPlan, RingStep};
use beforedoors::engine::ringout::{Order, OrderError, RingOutDesk};
use beforedoors::units::{ChannelId, Db, Hertz, Seconds};

use super::hall::Hall;
use super::{hall, plan};

const MAINS: Place = Place::Output(Output::Mains);

fn desk(modes: &[(f64, f64)], plan: RingOutPlan) -> RingOutDesk<Hall> {
    RingOutDesk::new(hall(modes), plan, 4)
}

/// Types these lines and reads what comes.
fn typed(desk: &mut RingOutDesk<Hall>, lines: &[&str], json: bool) -> (Exit, String) {
    let (send, lines_in) = mpsc::channel();
    lines.iter().for_each(|line| send.send((*line).to_owned()).unwrap());
    drop(send);
    let mut out = Vec::new();
    let names = ["Soloist".to_owned()];
    let exit = run(desk, &lines_in, &mut out, Telling { names: &names, json, pace: Pace::ByTurns }).unwrap();
    (exit, String::from_utf8(out).unwrap())
}

#[test]
fn done_and_done_and_the_hall_is_rung_out() {
    let mut desk = desk(&[(1250.0, 4.5)], RingOutPlan { live: true, ..plan(Equaliser::ThirdOctave, Some(6.0)) });
    let mut lines = vec!["yes"];
    lines.extend(["done"; 60]);
    let (exit, out) = typed(&mut desk, &lines, false);
    assert_eq!(exit, Exit::Fine, "{out}");
    let told = [
        "Ear protection on for whoever stands at the desk.",
        "It may squeal. Is everyone safe?",
        "Equaliser of Mains flat",
        "Open 1 Soloist only",
        "Mains fader UP 3 dB",
        "Mains fader UP 1 dB",
        "Ring at 1.25 kHz (D#6). Cut the 1.25k band of Mains by 3 dB.",
        "back to where it was",
        "Mains fader DOWN 6 dB and leave it there",
        "Ask someone to speak. Did the words get dull?",
        "Mains: target reached",
        "  Mains: 1.25k −3",
    ];
    let mut rest = out.as_str();
    for words in told {
        let at = rest.find(words).unwrap_or_else(|| panic!("“{words}” in its place in\n{out}"));
        rest = &rest[at..];
    }
    assert_eq!(desk.hall().fader, 0.0);
    assert_eq!(desk.hall().cuts.len(), 1);
    assert!(desk.hall().longest <= 2.0);
    assert_eq!(desk.hall().open, [ChannelId::new(0)]);
}

#[test]
fn as_lines_for_other_programs() {
    let mut desk = desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0)));
    let mut lines = vec!["cut mains 17 -3"];
    lines.extend(["done"; 60]);
    let (exit, out) = typed(&mut desk, &lines, true);
    assert_eq!(exit, Exit::Fine);
    let records: Vec<serde_json::Value> = out.lines().map(|line| serde_json::from_str(line).expect(line)).collect();
    let of = |kind: &str| records.iter().filter(|record| record["type"] == kind).collect::<Vec<_>>();
    assert_eq!(of("error")[0]["message"], "“17” is no frequency");
    assert_eq!(of("error")[0]["fix"], "For example: 1.6k or 630");
    let cut = of("ring_step").into_iter().find(|step| step["step"].as_str().unwrap().contains("Cut")).unwrap();
    assert!((cut["frequency_hz"].as_f64().unwrap() - 1250.0).abs() < 0.1);
    let output = of("output")[0];
    assert_eq!((output["output"].as_str(), output["end"].as_str()), (Some("Mains"), Some("target reached")));
    assert_eq!(output["cuts"][0]["depth_db"], -3.0);
    assert_eq!(output["cuts"][0]["frequency_hz"], 1258.925);
    assert!(!out.contains('−'));
}

/// The same by explicit orders: what is seen to be done need not be said.
#[test]
fn by_orders() {
    let mut desk = desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0)));
    for _ in 0..4000 {
        if desk.coach().is_over() {
            break;
        }
        let step = desk.coach().advice().step;
        let move_by = |by: f64| Order::Output(Output::Mains, Db::new(by));
        match step {
            RingStep::Up { by, .. } | RingStep::BackUp { by } => desk.obey(move_by(f64::from(by))).unwrap(),
            RingStep::Down { by, .. } | RingStep::DropToTest { by } => desk.obey(move_by(-f64::from(by))).unwrap(),
            RingStep::Leave { by, .. } => desk.obey(move_by(by.get())).unwrap(),
            RingStep::Cut(_) => {
                let order = Order::Cut { place: MAINS, frequency: Hertz::new(1250.0), by: Db::new(-3.0) };
                desk.obey(order).unwrap();
            }
            RingStep::Wait => {}
            _ => desk.answer(RingAnswer::Done),
        }
        desk.go_on();
    }
    assert!(desk.coach().is_over());
    assert_eq!((desk.hall().fader, desk.hall().cuts.len()), (0.0, 1));
    assert_eq!(desk.coach().books(0).unwrap().cuts.cuts(), desk.hall().cuts);
}

#[test]
fn undo_goes_back_step_by_step() {
    let mut desk = desk(&[(1250.0, 20.0)], plan(Equaliser::Parametric, None));
    let cut = |hz, by| Order::Cut { place: MAINS, frequency: Hertz::new(hz), by: Db::new(by) };
    desk.obey(Order::Output(Output::Mains, Db::new(3.0))).unwrap();
    desk.obey(cut(1234.0, -4.0)).unwrap();
    desk.obey(cut(1236.0, -2.0)).unwrap();
    assert_eq!(desk.hall().cuts[0].band, Band::Exact { frequency: Hertz::new(1234.0), q: 10.0 });
    assert_eq!(desk.hall().cuts[0].depth, Db::new(-6.0));
    desk.obey(Order::Open(ChannelId::new(2))).unwrap();
    desk.obey(Order::Mute(ChannelId::new(2))).unwrap();
    assert!(desk.hall().open.is_empty());
    for _ in 0..4 {
        desk.obey(Order::Undo).unwrap();
    }
    assert!(desk.hall().cuts.is_empty());
    assert_eq!(desk.hall().fader, -9.0);
    desk.obey(Order::Undo).unwrap();
    assert_eq!(desk.hall().fader, -12.0);
    assert_eq!(desk.obey(Order::Undo), Err(OrderError::NothingToUndo));
}

#[test]
fn orders_that_can_not_be_carried_out_say_how_to_mend_them() {
    let told = |kind, order| {
        let mut desk = desk(&[(1250.0, 4.5)], plan(kind, None));
        let error = desk.obey(order).unwrap_err().to_string();
        assert_eq!((desk.hall().fader, desk.hall().cuts.len()), (-12.0, 0), "{error}");
        error
    };
    let cut = |place, hz, by| Order::Cut { place, frequency: Hertz::new(hz), by: Db::new(by) };
    let (third, channel) = (Equaliser::ThirdOctave, Place::Channel(ChannelId::new(0)));
    let cases = [
        (third, Order::Output(Output::Wedge(3), Db::new(1.0)), "there is no wedge 3 here. The outputs are: mains"),
        (third, Order::Mute(ChannelId::new(8)), "there is no channel 9 here. Channels are 1 to 4"),
        (
            third,
            Order::Output(Output::Mains, Db::new(60.0)),
            "the fader would stand at +48.0 dB; it goes from -60 to +24. Ask for less",
        ),
        (third, cut(MAINS, 1600.0, 3.0), "+3.0 dB is no cut. Give a number from -9 to -1, or undo"),
        (third, cut(MAINS, 1600.0, -12.0), "-12.0 dB is no cut. Give a number from -9 to -1, or undo"),
        (third, cut(MAINS, 1400.0, -3.0), "this equaliser has no band at 1400 Hz. The nearest is 1259 Hz"),
        (
            Equaliser::Shelves,
            cut(MAINS, 1600.0, -3.0),
            "only shelves here: no band to cut. Take the fader down, or move the microphone",
        ),
        (
            third,
            cut(channel, 1600.0, -3.0),
            "channels have no equaliser of their own here. Cut the output: cut mains 1.6k -3",
        ),
    ];
    for (kind, order, words) in cases {
        assert_eq!(told(kind, order), words);
    }
    let mut deep = desk(&[(1250.0, 4.5)], plan(third, None));
    deep.obey(cut(MAINS, 1600.0, -9.0)).unwrap();
    let error = deep.obey(cut(MAINS, 1600.0, -6.0)).unwrap_err().to_string();
    assert_eq!(error, "that would make it 15.0 dB deep; 12 is the desk’s end. Ask for less");
}

/// A real desk is moved by hand: orders are refused, answers count.
/// A projector's whine is the room's own; what stands once the fader is up may be the loop's.
#[test]
fn the_empty_room_is_learned_until_the_fader_goes_up() {
    let mut desk = desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0)));
    let (exit, out) = typed(&mut desk, &["done"; 60], false);
    assert_eq!(exit, Exit::Fine, "{out}");
    let (learned, with_the_fader_up) = desk.hall().learned;
    assert!(learned >= 1.0, "learned for {learned:.1} s");
    assert_eq!(with_the_fader_up, 0.0);
}

#[test]
fn a_real_desk_is_moved_by_hand() {
    let mut desk = desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, None));
    let mut hall = hall(&[(1250.0, 4.5)]);
    hall.by_hand = true;
    let mut by_hand = RingOutDesk::new(hall, plan(Equaliser::ThirdOctave, None), 4);
    let order = Order::Output(Output::Mains, Db::new(3.0));
    assert_eq!(by_hand.obey(order), Err(OrderError::NotHere));
    assert_eq!(OrderError::NotHere.to_string(), "this desk is moved by hand. Turn it there, then type done");
    by_hand.answer(RingAnswer::Done);
    assert!(matches!(by_hand.coach().advice().step, RingStep::SetFader { .. }));
    by_hand.answer(RingAnswer::Done);
    assert_eq!(by_hand.hall().fader, -12.0);
    desk.go_on();
    assert!(desk.now() > Seconds::ZERO);
}

#[test]
fn leaving_early_is_told_as_it_is() {
    let (exit, out) = typed(&mut desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0))), &["leave"], false);
    assert_eq!(exit, Exit::CannotTell);
    assert!(out.contains("Mains: not rung out"), "{out}");
    let help = typed(&mut desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0))), &["help", "leave"], false).1;
    assert!(help.contains("cut mains 1.6k -3") && help.contains("undo"), "{help}");
    let (exit, _) = typed(
        &mut desk(&[(1250.0, 4.5)], plan(Equaliser::ThirdOctave, Some(6.0))),
        &["done", "done", "done", "done", "stop", "done", "done"],
        false,
    );
    assert_eq!(exit, Exit::Findings);
}
