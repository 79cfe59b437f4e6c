//! The show on simulated nights, 6 dB under the limit as a ring-out leaves it: as rehearsed nothing is asked for; a fader too high is caught and calmed.
//!
//! A plain run takes 3 nights of a minute, `BEFOREDOORS_FULL=1` ten of ten.

use beforedoors::coach::ringout::Equaliser;
use beforedoors::engine::hall::{Hall, StageHall};
use beforedoors::engine::show::{ShowAction, ShowDesk};
use beforedoors::units::{Db, Seconds};

fn night(seed: u64) -> ShowDesk<StageHall> {
    let hall = StageHall::on_show_night(seed).unwrap();
    let channels = hall.names().len();
    ShowDesk::new(hall, Equaliser::ThirdOctave, channels, true)
}

fn listen(desk: &mut ShowDesk<StageHall>, span: f64) {
    let end = desk.now() + Seconds::new(span);
    while desk.now() < end {
        assert!(desk.go_on());
    }
}

#[test]
fn six_decibels_under_the_limit_nothing_is_asked_for() {
    let full = std::env::var_os("BEFOREDOORS_FULL").is_some();
    let (nights, span) = if full { (10, 600.0) } else { (3, 60.0) };
    for seed in 1..=nights {
        let mut desk = night(seed);
        listen(&mut desk, span);
        let log = desk.watch().log();
        assert!(log.is_empty(), "night {seed}: {log:?}");
    }
}

#[test]
fn a_fader_that_is_too_high_is_caught_and_whoever_follows_has_calm_again() {
    for seed in 1..=3 {
        let mut desk = night(seed);
        listen(&mut desk, 5.0);
        desk.move_mains(Db::new(9.0));
        let began = desk.now();
        while desk.watch().advice().action == ShowAction::Nothing {
            assert!(desk.go_on() && desk.now() - began < Seconds::new(5.0), "night {seed}: not caught within 5 s");
        }
        // A hand takes 0.7 s.
        for _ in 0..40 {
            if desk.watch().advice().action != ShowAction::Nothing {
                listen(&mut desk, 0.7);
                desk.answer(true);
            }
            listen(&mut desk, 0.5);
        }
        assert_eq!(desk.watch().advice().action, ShowAction::Nothing, "night {seed}");
        assert!(desk.hall().rings().iter().all(|ring| ring.end.is_some()), "night {seed}: {:?}", desk.hall().rings());
    }
}
