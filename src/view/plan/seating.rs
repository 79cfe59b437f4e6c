//! The hall from above, and what its seats hear: places in metres, a shape and a word for each seat.
//!
//! x to the audience's right, y away from the audience: the stage at the top, its front edge at 0, seats below. A seat is a
//! card with as many strokes as words arrive: five for every word, one for hardly any; without a stroke nobody has measured
//! there. Rating after IEC 60268-16. Edge cases: a seat without a place stands in the list alone; of two results of one seat
//! the later one counts.

use super::Plan;
use crate::engine::seat::{Intelligibility, Rating};
use crate::event::NotedSeat;
use crate::plan::gear::Role;
use crate::view::numbers::{self, counted};
use crate::view::seats::{over_words, words};
use crate::view::sentence::{Arrow, NextStep, Reply};
use crate::view::words::plain;

/// A seat in the drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct SeatCard {
    pub name: String,
    pub at: Option<(f64, f64)>,
    /// `None`: not measured.
    pub rating: Option<Rating>,
    /// "most words, not names".
    pub words: &'static str,
    pub details: Vec<String>,
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seating {
    /// Loudspeakers for the hall.
    pub speakers: Vec<(f64, f64)>,
    pub seats: Vec<SeatCard>,
    /// Left, right, front (upstage) and back of what is drawn.
    pub frame: [f64; 4],
}

const NOT_MEASURED: &str = "not measured";
/// Metres around what is drawn, and of stage behind its edge.
const AROUND: f64 = 1.5;
const STAGE: f64 = 2.0;

/// Most strokes on a card.
pub const STROKES: u8 = 5;

/// How many strokes a card has.
pub const fn strokes(rating: Rating) -> u8 {
    match rating {
        Rating::Excellent => STROKES,
        Rating::Good => 4,
        Rating::Fair => 3,
        Rating::Poor => 2,
        Rating::Bad => 1,
    }
}

impl Seating {
    /// The seats of the event's hall, and what was found at them.
    pub fn of(plan: &Plan) -> Self {
        let rig = &plan.rig;
        let hall = rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Hall);
        let speakers: Vec<(f64, f64)> = hall.filter_map(|id| rig.thing(id).place).map(|at| (at.x, at.y)).collect();
        let listed = rig.venue.iter().flat_map(|venue| &venue.seats);
        let mut seats: Vec<SeatCard> =
            listed.map(|seat| SeatCard::empty(&seat.name, Some((seat.place.x, seat.place.y)))).collect();
        for kept in &plan.seats {
            let same = |seat: &SeatCard| seat.name.eq_ignore_ascii_case(&plain(&kept.seat));
            match seats.iter_mut().find(|seat| same(seat)) {
                Some(seat) => seat.take(kept),
                None => {
                    let mut seat = SeatCard::empty(&kept.seat, kept.place);
                    seat.take(kept);
                    seats.push(seat);
                }
            }
        }
        let width = rig.venue.as_ref().and_then(|venue| venue.width).map(|width| width.get() / 2.0);
        let places: Vec<(f64, f64)> = seats.iter().filter_map(|seat| seat.at).chain(speakers.iter().copied()).collect();
        let far = |of: &dyn Fn(&(f64, f64)) -> f64| places.iter().map(of).fold(0.0, f64::max);
        let side = far(&|at| at.0.abs() + AROUND).max(width.unwrap_or(4.0));
        let frame = [-side, side, STAGE.max(far(&|at| at.1 + AROUND)), -far(&|at| AROUND - at.1).max(4.0)];
        Self { speakers, seats, frame }
    }

    /// The seat that hears least.
    pub fn worst(&self) -> Option<&SeatCard> {
        self.seats.iter().filter(|seat| seat.rating.is_some()).min_by_key(|seat| seat.rating)
    }

    /// The headline, and what to do.
    pub fn step(&self) -> (String, NextStep) {
        let measured = self.seats.iter().filter(|seat| seat.rating.is_some()).count();
        let all = counted(self.seats.len() as u64, "seat", "seats");
        let told = format!("{measured} of {all} measured");
        let missing = "beforedoors seats --device DESK --channels 5 --event FOLDER measures them".to_owned();
        let (headline, then) = match self.worst() {
            _ if self.seats.is_empty() => {
                ("No seats yet".to_owned(), "put [[seat]] with name, x_m and y_m into venue.toml".to_owned())
            }
            None => ("No seat measured".to_owned(), missing),
            Some(worst) if worst.rating >= Some(Rating::Good) => (
                "Words arrive".to_owned(),
                if measured < self.seats.len() { missing } else { "leave it as it is".into() },
            ),
            Some(worst) => (
                format!("{} hears least", worst.name),
                format!("{}: a loudspeaker nearer to it, less background, slower speech", worst.words),
            ),
        };
        let sentence = format!("{headline}. {told}");
        (headline, NextStep { arrow: Arrow::None, sentence, then, proof: told, reply: Reply::Over })
    }
}

impl SeatCard {
    fn empty(name: &str, at: Option<(f64, f64)>) -> Self {
        Self { name: plain(name), at, rating: None, words: NOT_MEASURED, details: Vec::new() }
    }

    fn take(&mut self, kept: &NotedSeat) {
        let rating = Intelligibility { sti: kept.sti, octaves: [kept.sti; 7] }.rating();
        self.at = self.at.or(kept.place);
        (self.rating, self.words) = (Some(rating), words(rating));
        self.details = vec![format!("speech transmission {:.2}", kept.sti)];
        self.details.extend(kept.over_background.map(over_words));
        self.details.extend(kept.t20.map(|t20| format!("T20 {:.1} s", t20.get())));
        self.details.extend(kept.c50.map(|c50| format!("C50 {}", numbers::change(c50))));
    }
}

/// A rectangle: left, top, width, height; y down.
pub type Area = [f64; 4];

/// Where a label of this size finds room beside a shape of half this size: right, left, under or over it, within the drawing
/// and off what stands already; else to the right, as far as the drawing goes.
pub fn beside((x, y): (f64, f64), half: f64, (width, height): (f64, f64), taken: &[Area], within: Area) -> Area {
    let gap = 1.5 * half;
    let spots = [
        (x + gap, y - height / 2.0),
        (x - gap - width, y - height / 2.0),
        (x - width / 2.0, y + gap),
        (x - width / 2.0, y - gap - height),
    ];
    let inside = |at: &Area| {
        at[0] >= within[0]
            && at[1] >= within[1]
            && at[0] + at[2] <= within[0] + within[2]
            && at[1] + at[3] <= within[1] + within[3]
    };
    let areas = spots.map(|(left, top)| [left, top, width, height]);
    let free = |at: &&Area| inside(at) && !taken.iter().any(|other| overlap(*other, **at));
    let clamped = |at: Area| {
        let kept = |axis: usize| at[axis].min(within[axis] + within[axis + 2] - at[axis + 2]).max(within[axis]);
        [kept(0), kept(1), at[2], at[3]]
    };
    areas.iter().find(free).copied().unwrap_or_else(|| clamped(areas[0]))
}

fn overlap(a: Area, b: Area) -> bool {
    a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3]
}

/// Of the sheet and the window alike.
pub const EDGE: &str = "front edge of the stage";
pub const LEGEND: &str = "Strokes: 5 every word · 4 nearly every word · 3 most words, not names · 2 some words · 1 hardly a word · none: not measured";

/// A row for each seat, the ones that hear least first.
pub(super) fn rows(plan: &Plan) -> Vec<Vec<String>> {
    let seating = Seating::of(plan);
    let mut seats: Vec<&SeatCard> = seating.seats.iter().collect();
    seats.sort_by_key(|seat| (seat.rating.is_none(), seat.rating));
    seats.iter().map(|seat| vec![seat.name.clone(), seat.words.to_owned(), seat.details.join(", ")]).collect()
}
