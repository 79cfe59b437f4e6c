//! The stage plot as places and labels: metres, x to the audience's right, y away from the audience.
//!
//! Drawn as the audience sees the stage, its side DOWN, so that the right of the page is the performers' left. Edge
//! cases: what has no place is listed beside the plot; a rig without any place has an empty plot.

use super::Plan;
use crate::plan::gear::{GearKind, Role};
use crate::plan::rig::Place;
use crate::view::words::plain;

/// Metres in front of the stage that are still drawn.
const FARTHEST: f64 = 3.0;

/// What stands there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TokenKind {
    Performer,
    HallSpeaker,
    Monitor,
    Desk,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Token {
    pub kind: TokenKind,
    pub at: (f64, f64),
    /// The channel's number, or a short mark.
    pub mark: String,
    pub label: String,
    /// Stand, phantom, person.
    pub detail: String,
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct StagePlot {
    pub tokens: Vec<Token>,
    /// What nobody gave a place.
    pub without_place: Vec<String>,
    /// What stands too far out in the hall to be drawn, with its metres in front of the stage.
    pub in_the_hall: Vec<String>,
}

pub fn stage_plot(plan: &Plan) -> StagePlot {
    let mut plot = StagePlot::default();
    for strip in &plan.rig.strips {
        let mark = strip.channel.number().to_string();
        let (label, place) = (plain(&strip.name), strip.place);
        let mut detail: Vec<String> = Vec::new();
        detail.extend(strip.stand.as_deref().map(plain));
        detail.extend((strip.phantom == Some(true)).then(|| "+48".to_owned()));
        plot.put(TokenKind::Performer, place, mark, label, detail.join(", "));
    }
    for id in plan.rig.ids() {
        let thing = plan.rig.thing(id);
        let (kind, mark) = match thing.kind {
            kind if kind.role() == Role::Hall => (TokenKind::HallSpeaker, "S"),
            kind if kind.role() == Role::Monitor => (TokenKind::Monitor, "M"),
            GearKind::Desk | GearKind::PoweredMixer => (TokenKind::Desk, "D"),
            _ => continue,
        };
        plot.put(kind, thing.place, mark.to_owned(), plain(&thing.name), String::new());
    }
    plot
}

impl StagePlot {
    fn put(&mut self, kind: TokenKind, place: Option<Place>, mark: String, label: String, detail: String) {
        match place {
            Some(place) if place.y < -FARTHEST => {
                self.in_the_hall.push(format!("{mark} {label}, {:.0} m in front of the stage", -place.y));
            }
            Some(place) => self.tokens.push(Token { kind, at: (place.x, place.y), mark, label, detail }),
            None => self.without_place.push(format!("{mark} {label}")),
        }
    }
}
