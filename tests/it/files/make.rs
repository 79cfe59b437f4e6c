//! WAV bytes by hand, so that the reader is not checked with its own writer.

/// A header whose every field can be made to lie.
#[derive(Clone, Debug)]
pub struct Header {
    pub family: &'static [u8; 4],
    pub tag: u16,
    pub channels: u16,
    pub rate: u32,
    pub frame_bytes: u16,
    pub bits: u16,
    /// Valid bits and loudspeaker mask: makes the format an extensible one.
    pub extended: Option<(u16, u32)>,
    /// In place of the true size of the sound.
    pub data_size: Option<u32>,
    /// Sound size in `ds64`.
    pub ds64: Option<u64>,
}

impl Header {
    pub fn new(tag: u16, channels: u16, rate: u32, bits: u16) -> Self {
        let frame_bytes = channels * bits.div_ceil(8);
        Self { family: b"RIFF", tag, channels, rate, frame_bytes, bits, extended: None, data_size: None, ds64: None }
    }

    /// Everything before the sound.
    pub fn before(&self, sound: u32) -> Vec<u8> {
        let mut bytes = self.family.to_vec();
        bytes.extend(if self.ds64.is_some() { u32::MAX } else { sound.wrapping_add(36) }.to_le_bytes());
        bytes.extend(b"WAVE");
        if let Some(size) = self.ds64 {
            bytes.extend(b"ds64");
            bytes.extend(28_u32.to_le_bytes());
            bytes.extend((size + 72).to_le_bytes());
            bytes.extend(size.to_le_bytes());
            bytes.extend((size / u64::from(self.frame_bytes.max(1))).to_le_bytes());
            bytes.extend(0_u32.to_le_bytes());
        }
        bytes.extend(b"fmt ");
        bytes.extend(if self.extended.is_some() { 40_u32 } else { 16 }.to_le_bytes());
        bytes.extend(if self.extended.is_some() { 0xfffe } else { self.tag }.to_le_bytes());
        bytes.extend(self.channels.to_le_bytes());
        bytes.extend(self.rate.to_le_bytes());
        bytes.extend(self.rate.wrapping_mul(u32::from(self.frame_bytes)).to_le_bytes());
        bytes.extend(self.frame_bytes.to_le_bytes());
        bytes.extend(self.bits.to_le_bytes());
        if let Some((valid, mask)) = self.extended {
            bytes.extend(22_u16.to_le_bytes());
            bytes.extend(valid.to_le_bytes());
            bytes.extend(mask.to_le_bytes());
            bytes.extend(self.tag.to_le_bytes());
            bytes.extend(b"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71");
        }
        bytes.extend(b"data");
        bytes.extend(self.data_size.unwrap_or(sound).to_le_bytes());
        bytes
    }

    pub fn with(&self, sound: &[u8]) -> Vec<u8> {
        let mut bytes = self.before(sound.len() as u32);
        bytes.extend(sound);
        if sound.len() % 2 == 1 {
            bytes.push(0);
        }
        bytes
    }
}

/// How a test stores one sample of the range −1 … 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Width {
    U8,
    S16,
    S24,
    S24In32,
    S32,
    F32,
    F64,
}

impl Width {
    pub const ALL: [Self; 7] = [Self::U8, Self::S16, Self::S24, Self::S24In32, Self::S32, Self::F32, Self::F64];

    /// Rounded to the nearest step, as the RIFF specification scales it.
    pub fn store(self, sample: f64) -> Vec<u8> {
        let integer = |bits: i32| ((sample * f64::powi(2.0, bits - 1)).round() as i64).min((1_i64 << (bits - 1)) - 1);
        match self {
            Self::U8 => vec![(integer(8) + 128) as u8],
            Self::S16 => (integer(16) as i16).to_le_bytes().to_vec(),
            Self::S24 => (integer(24) as i32).to_le_bytes()[..3].to_vec(),
            Self::S24In32 => ((integer(24) as i32) << 8).to_le_bytes().to_vec(),
            Self::S32 => (integer(32) as i32).to_le_bytes().to_vec(),
            Self::F32 => (sample as f32).to_le_bytes().to_vec(),
            Self::F64 => sample.to_le_bytes().to_vec(),
        }
    }

    /// The largest difference between a sample and what is stored for it: half a step.
    pub fn half_step(self) -> f64 {
        match self {
            Self::U8 => f64::powi(2.0, -8),
            Self::S16 => f64::powi(2.0, -16),
            // A 24-bit step is exact in `f32`; wider ones end at its own precision.
            _ => f64::powi(2.0, -24),
        }
    }

    /// The largest sample: an integer scale ends one step below 1, which in 32 bits is 1 as `f32` has it.
    pub fn top(self) -> f64 {
        match self {
            Self::S32 | Self::F32 | Self::F64 => 1.0,
            _ => 1.0 - 2.0 * self.half_step(),
        }
    }

    pub fn header(self, channels: u16, rate: u32) -> Header {
        let plain = |tag, bits| Header::new(tag, channels, rate, bits);
        match self {
            Self::U8 => plain(1, 8),
            Self::S16 => plain(1, 16),
            Self::S24 => plain(1, 24),
            Self::S24In32 => Header { extended: Some((24, 0)), ..plain(1, 32) },
            Self::S32 => plain(1, 32),
            Self::F32 => plain(3, 32),
            Self::F64 => plain(3, 64),
        }
    }
}
