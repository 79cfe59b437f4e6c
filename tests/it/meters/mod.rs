//! The meters against standards, references, a second implementation, and their own promises.

mod ebu;
mod gaps;
mod levels;
mod pair;
mod promises;
mod second_opinion;
