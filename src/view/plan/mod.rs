//! The plan in words: verdicts, reasons, cures, computations, the sheets that are printed, and what a window can draw.
//!
//! Plain values and text; no I/O, no drawing library. Every sentence about a rig is made here, once, for terminal,
//! pages, JSON and window. Edge cases: a number that could not be computed is a dash.

mod cautions;
mod cures;
mod drawing;
mod findings;
mod names;
pub mod page;
mod reasons;
mod records;
mod seating;
mod sheets;
mod stage;
mod sums;
mod walk;

pub use cautions::{CAUTIONS, Caution};
pub use cures::cure;
pub use drawing::{BoxKind, Drawing, DrawnBox, DrawnWire};
pub use findings::{about, chain, finding_line, headline, refused, unknown, verdict_sign, verdict_word, wire_words};
pub use names::{end, in_name, lead, lead_of, out_name, plug, thing_kind};
pub use reasons::{reason, remark};
pub use records::{PLAN_KEYS, plan_records};
pub use seating::{EDGE, LEGEND, STROKES, SeatCard, Seating, beside, strokes};
pub use sheets::{Page, PageKind, pages};
pub use stage::{StagePlot, Token, TokenKind, stage_plot};
pub use sums::{computed_lines, sum_line, weakest_stage};
pub use walk::{Found, Spot, all_fits, first, of_spot, tally, walk};

use crate::event::{NotedSeat, VenueNotes, rig};
use crate::plan::checks::Checked;
use crate::plan::rig::Rig;
pub use crate::plan::verdict::Verdict;

/// An event's rig, checked.
#[derive(Clone, Debug)]
pub struct Plan {
    pub rig: Rig,
    pub checked: Checked,
    /// What was doubtful in its files.
    pub warnings: Vec<String>,
    /// What seats of its hall heard, in the order in which it was found.
    pub seats: Vec<NotedSeat>,
}

/// How a check ended, for an exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    Fine,
    Findings,
    CannotTell,
}

impl Plan {
    /// Reads a folder and checks what stands in it.
    pub fn open(folder: &std::path::Path) -> Result<Self, crate::event::EventError> {
        let (_, rig, mut warnings) = rig::open(folder)?;
        let (notes, of_notes) = VenueNotes::of(folder)?;
        warnings.extend(of_notes);
        let plan = Self::of(rig, warnings.iter().map(ToString::to_string).collect());
        Ok(Self { seats: notes.seats, ..plan })
    }

    pub fn of(rig: Rig, warnings: Vec<String>) -> Self {
        let checked = Checked::of(&rig);
        Self { rig, checked, warnings, seats: Vec::new() }
    }

    /// An accepted line that dismisses nothing is a finding too.
    pub fn outcome(&self) -> Outcome {
        if self.checked.count(Verdict::Never) + self.checked.count(Verdict::WorksBut) + self.checked.refused.len() > 0 {
            Outcome::Findings
        } else if self.checked.is_blind() {
            Outcome::CannotTell
        } else {
            Outcome::Fine
        }
    }
}

/// The wire at this place in the rig's list.
pub const fn wire_id(index: usize) -> crate::plan::rig::WireId {
    crate::plan::rig::WireId(index)
}
