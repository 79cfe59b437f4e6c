//! A print of a track: short snippets of it at fixed times, to hold against the prints of others.
//!
//! In: blocks of amplitudes. 64 samples every 2048 frames; when there are 256 snippets every second one goes and the rest
//! stand twice as far apart, so that the times of two prints always fit. Out: the correlation of two tracks over the
//! snippets that both have, their means removed, and by how much the second is louder. −1 is the same upside down.
//! Fewer than 16 snippets in common, and silence on either side, give `None`.

use super::View;
use crate::units::Db;

const LENGTH: usize = 64;
const MOST: usize = 256;
const FIRST_SPACING: u64 = 2048;
const FEWEST: usize = 16;
/// Mean square (−90 dBFS): quieter than this is silence here.
const SILENCE: f64 = 1e-9;

/// Snippets of one track.
#[derive(Clone, Debug)]
pub struct Print {
    spacing: u64,
    snippets: Vec<[f32; LENGTH]>,
}

/// How two tracks resemble each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alike {
    /// −1 to 1.
    pub correlation: f64,
    /// How much louder the second one is.
    pub gain: Db,
}

impl Print {
    pub fn new() -> Self {
        Self { spacing: FIRST_SPACING, snippets: Vec::with_capacity(MOST) }
    }

    pub(super) fn look(&mut self, view: &View) {
        loop {
            let next = self.snippets.len() as u64 * self.spacing;
            let Some(index) = next.checked_sub(view.start).map(|index| index as usize) else {
                // Lost, or before the first block: nothing is what it holds.
                self.add([0.0; LENGTH]);
                continue;
            };
            let Some(samples) = view.samples.get(index..index + LENGTH).filter(|_| index < view.to) else { return };
            let mut snippet = [0.0; LENGTH];
            snippet.copy_from_slice(samples);
            self.add(snippet);
        }
    }

    pub fn alike(&self, other: &Self) -> Option<Alike> {
        let spacing = self.spacing.max(other.spacing);
        let every = |print: &Self| (spacing / print.spacing) as usize;
        let pairs = self.snippets.iter().step_by(every(self)).zip(other.snippets.iter().step_by(every(other)));
        let (mut n, mut a1, mut b1, mut aa, mut bb, mut ab, mut count) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0);
        for (ours, theirs) in pairs {
            for (&a, &b) in ours.iter().zip(theirs) {
                let (a, b) = (f64::from(a), f64::from(b));
                a1 += a;
                b1 += b;
                aa += a * a;
                bb += b * b;
                ab += a * b;
            }
            n += LENGTH as f64;
            count += 1;
        }
        let (aa, bb, ab) = (aa - a1 * a1 / n, bb - b1 * b1 / n, ab - a1 * b1 / n);
        (count >= FEWEST && aa > n * SILENCE && bb > n * SILENCE).then(|| Alike {
            correlation: (ab / (aa * bb).sqrt()).clamp(-1.0, 1.0),
            gain: Db::from_ratio((bb / aa).sqrt()),
        })
    }

    fn add(&mut self, snippet: [f32; LENGTH]) {
        self.snippets.push(snippet);
        if self.snippets.len() == MOST {
            let mut index = 0;
            self.snippets.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.spacing *= 2;
        }
    }
}

impl Default for Print {
    fn default() -> Self {
        Self::new()
    }
}
