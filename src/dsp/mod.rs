//! Signal processing without a notion of meters: loops over samples, filters, transforms, histograms.
//!
//! Loops work on lanes of consecutive samples, so that a wider vector unit gives the same bits.
//! Names only `units`.

pub mod band_pass;
pub mod bins;
pub mod biquad;
pub mod convolve;
pub mod correlate;
pub mod equaliser;
pub mod fractional_octave;
pub mod histogram;
pub mod k_weighting;
pub mod lanes;
pub mod oversample;
pub mod resample;
pub mod side_noise;
pub mod third_octave;
pub mod time_weighting;
pub mod weighting;
