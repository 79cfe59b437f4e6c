//! meters

mod readings;

pub use readings::{
    Activity, BANDS, ChannelReadings, ChannelSummary, FlatRun, Frame, Hop, PairLag, Programme, Readings, Summary,
    Whole, band_centre,
};
