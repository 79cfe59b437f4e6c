//! What a report on recordings holds, gathered as they come.
//!
//! Of very many recordings the first have pictures, and those in which something is wrong; the space is bounded.

use super::bad::Bad;
use super::numbers::counted;
use super::takes::Take;
use super::together::Together;

pub const TITLE: &str = "Recordings";
/// More pictures than this nobody prints.
const MOST_PICTURES: usize = 200;
/// Faults of a recording without a picture.
const FEW: usize = 20;

/// In which form it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReportForm {
    Html,
    Csv,
}

#[derive(Clone, Debug, Default)]
pub struct TakesReport {
    pub takes: Vec<Take>,
    pub together: Vec<Together>,
    pictures: usize,
}

impl TakesReport {
    pub fn add(&mut self, mut take: Take) {
        if take.envelope.is_some() && self.pictures < MOST_PICTURES {
            self.pictures += 1;
        } else {
            take.envelope = None;
            take.spectra = Vec::new();
            let more = take.faults.len().saturating_sub(FEW);
            take.faults.truncate(FEW);
            take.more_faults += more;
        }
        self.takes.push(take);
    }

    /// "16 recordings: 2 lost, 3 hides sound, 11 fine".
    pub fn summary(&self) -> String {
        let count = |bad: Bad| self.takes.iter().filter(|take| take.bad == bad).count();
        let parts: Vec<String> = Bad::ALL
            .iter()
            .rev()
            .filter(|&&bad| count(bad) > 0)
            .map(|&bad| format!("{} {}", count(bad), bad.word()))
            .collect();
        format!("{}: {}", counted(self.takes.len() as u64, "recording", "recordings"), parts.join(", "))
    }

    /// The recordings, the worst first.
    pub fn in_order(&self) -> Vec<&Take> {
        let mut takes: Vec<&Take> = self.takes.iter().collect();
        takes.sort_by_key(|take| std::cmp::Reverse(take.bad));
        takes
    }
}
