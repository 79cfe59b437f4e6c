//! Two channels in turn behind a header that says one: the pitch is an octave low and the take twice too long.
//!
//! In: blocks of amplitudes. Of a real channel the differences from each even sample to the next odd one have the energy
//! of those from odd to even, and steps over two samples have more (up to fourfold; less only where most of it lies over a
//! third of the rate). Of left and right in turn the two differ, or the steps over two samples, within one side, have
//! clearly less. Follows from the definition; silence and noise alone tell nothing.

use super::View;

const UNEVEN: f64 = 0.3;
const SMALLER: f64 = 0.6;
/// Energy of the differences under which nothing is told: −80 dB a sample.
const NOTHING: f64 = 1e-8;

#[derive(Default)]
pub(super) struct Turns {
    even: f64,
    odd: f64,
    double: f64,
    samples: u64,
}

impl Turns {
    pub fn look(&mut self, view: &View) {
        let first = view.from + (view.frame(view.from) % 2) as usize;
        let energy = |x: f32| f64::from(x) * f64::from(x);
        // Every eighth pair tells enough.
        for at in (first..view.to.saturating_sub(3)).step_by(16) {
            let [a, b, c, d] = [view.samples[at], view.samples[at + 1], view.samples[at + 2], view.samples[at + 3]];
            self.even += energy(b - a);
            self.odd += energy(c - b);
            self.double += 0.5 * (energy(c - a) + energy(d - b));
            self.samples += 1;
        }
    }

    pub fn are_two(&self) -> bool {
        let mean = 0.5 * (self.even + self.odd);
        let uneven = (self.even - self.odd).abs() > UNEVEN * (self.even + self.odd);
        mean > NOTHING * self.samples as f64 && (uneven || self.double < SMALLER * mean)
    }
}
