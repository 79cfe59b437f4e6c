//! Time is a count of frames; seconds and hertz are derived from it.

use std::fmt;
use std::ops::{Add, AddAssign, Sub};

/// Frames (one sample of every channel) since the source began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FrameCount(u64);

impl FrameCount {
    pub const ZERO: Self = Self(0);

    pub const fn new(frames: u64) -> Self {
        Self(frames)
    }

    pub const fn get(self) -> u64 {
        self.0
    }

    pub fn at(self, rate: SampleRate) -> Seconds {
        Seconds::new(self.0 as f64 / f64::from(rate.get()))
    }
}

impl Add for FrameCount {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl AddAssign for FrameCount {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl Sub for FrameCount {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

/// Frames per second, never zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SampleRate(u32);

impl SampleRate {
    /// The lowest and highest rates that the meters are made for.
    pub const LOWEST: u32 = 8_000;
    pub const HIGHEST: u32 = 192_000;

    /// `None` outside 8–192 kHz.
    pub const fn new(hz: u32) -> Option<Self> {
        if hz < Self::LOWEST || hz > Self::HIGHEST { None } else { Some(Self(hz)) }
    }

    pub const fn get(self) -> u32 {
        self.0
    }

    /// The whole number of frames nearest to `span`.
    pub fn frames(self, span: Seconds) -> FrameCount {
        FrameCount((span.get() * f64::from(self.0)).round().max(0.0) as u64)
    }
}

impl fmt::Display for SampleRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} Hz", self.0)
    }
}

/// A span of time, or a point of it since the source began.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Seconds(f64);

impl Seconds {
    pub const ZERO: Self = Self(0.0);

    pub const fn new(seconds: f64) -> Self {
        Self(seconds)
    }

    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Add for Seconds {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl AddAssign for Seconds {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl Sub for Seconds {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Hertz(f64);

impl Hertz {
    pub const fn new(hz: f64) -> Self {
        Self(hz)
    }

    pub const fn get(self) -> f64 {
        self.0
    }
}
