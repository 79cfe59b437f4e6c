//! Stored samples to `f32`, 1.0 = full scale: little-endian integers, floats and the two telephone codes.
//!
//! In: whole interleaved frames as bytes. Out: one plane per channel. Integers are divided by 2^(bits − 1), so
//! that the most negative value is −1.0; 8-bit is unsigned with 128 as zero (Multimedia Programming Interface
//! and Data Specifications 1.0, RIFF WAVE). Fewer valid bits than the container holds are left-justified in it,
//! so the container's width decides. A-law and µ-law by ITU-T G.711. NaN and ±∞ pass through; a 64-bit float
//! beyond the range of 32 bits becomes ±∞.

/// How one sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    U8,
    S16,
    S24,
    S32,
    F32,
    F64,
    ALaw,
    MuLaw,
}

impl Encoding {
    /// Bytes a sample takes.
    pub const fn bytes(self) -> usize {
        match self {
            Self::U8 | Self::ALaw | Self::MuLaw => 1,
            Self::S16 => 2,
            Self::S24 => 3,
            Self::S32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

/// Appends the whole frames in `bytes` to `planes`, one channel each.
pub fn deinterleave(encoding: Encoding, bytes: &[u8], planes: &mut [Vec<f32>]) {
    match encoding {
        Encoding::U8 => spread(bytes, planes, |[b]: [u8; 1]| (f32::from(b) - 128.0) / 128.0),
        Encoding::S16 => spread(bytes, planes, |b| f32::from(i16::from_le_bytes(b)) * (1.0 / 32_768.0)),
        Encoding::S24 => spread(bytes, planes, |[a, b, c]| from_s32(i32::from_le_bytes([0, a, b, c]))),
        Encoding::S32 => spread(bytes, planes, |b| from_s32(i32::from_le_bytes(b))),
        Encoding::F32 => spread(bytes, planes, f32::from_le_bytes),
        Encoding::F64 => spread(bytes, planes, |b| f64::from_le_bytes(b) as f32),
        Encoding::ALaw => spread(bytes, planes, |[b]: [u8; 1]| f32::from(a_law(b)) * (1.0 / 32_768.0)),
        Encoding::MuLaw => spread(bytes, planes, |[b]: [u8; 1]| f32::from(mu_law(b)) * (1.0 / 32_768.0)),
    }
}

fn from_s32(sample: i32) -> f32 {
    sample as f32 * (1.0 / 2_147_483_648.0)
}

/// Mono and stereo have loops of their own, which the compiler turns into vector code; more channels are
/// taken in stretches that stay in the first-level cache, since each plane passes over the same bytes.
fn spread<const W: usize>(bytes: &[u8], planes: &mut [Vec<f32>], convert: impl Fn([u8; W]) -> f32) {
    const STRETCH: usize = 8 << 10;
    let (samples, _) = bytes.as_chunks::<W>();
    match planes {
        [] => {}
        [mono] => mono.extend(samples.iter().map(|&sample| convert(sample))),
        [left, right] => {
            let (frames, _) = samples.as_chunks::<2>();
            left.extend(frames.iter().map(|frame| convert(frame[0])));
            right.extend(frames.iter().map(|frame| convert(frame[1])));
        }
        many => {
            let channels = many.len();
            let stretch = (STRETCH / (W * channels)).max(1) * channels;
            for samples in samples.chunks(stretch) {
                for (channel, plane) in many.iter_mut().enumerate() {
                    plane.extend(samples.chunks_exact(channels).map(|frame| convert(frame[channel])));
                }
            }
        }
    }
}

/// ITU-T G.711 A-law, widened to 16 bits.
fn a_law(code: u8) -> i16 {
    let code = code ^ 0x55;
    let mantissa = i16::from(code & 0x0f) << 4;
    let magnitude = match (code >> 4) & 7 {
        0 => mantissa + 8,
        segment => (mantissa + 0x108) << (segment - 1),
    };
    if code & 0x80 == 0 { -magnitude } else { magnitude }
}

/// ITU-T G.711 µ-law, widened to 16 bits.
fn mu_law(code: u8) -> i16 {
    let code = !code;
    let magnitude = ((i16::from(code & 0x0f) << 3) + 0x84) << ((code >> 4) & 7);
    if code & 0x80 == 0 { magnitude - 0x84 } else { 0x84 - magnitude }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mono(encoding: Encoding, bytes: &[u8]) -> Vec<f32> {
        let mut planes = [Vec::new()];
        deinterleave(encoding, bytes, &mut planes);
        let [plane] = planes;
        plane
    }

    #[test]
    fn the_ends_of_each_scale() {
        assert_eq!(mono(Encoding::U8, &[0, 128, 255]), [-1.0, 0.0, 127.0 / 128.0]);
        assert_eq!(mono(Encoding::S16, &[0, 0x80, 0, 0, 0xff, 0x7f]), [-1.0, 0.0, 32_767.0 / 32_768.0]);
        let s24 = mono(Encoding::S24, &[0, 0, 0x80, 1, 0, 0, 0xff, 0xff, 0x7f]);
        assert_eq!(s24, [-1.0, 1.0 / 8_388_608.0, 8_388_607.0 / 8_388_608.0]);
        assert_eq!(mono(Encoding::S32, &[0, 0, 0, 0x80, 0, 0, 0, 0x40]), [-1.0, 0.5]);
    }

    #[test]
    fn floats_pass_unchanged_and_wide_ones_become_infinite() {
        let wild = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1.0e-40, 4.0];
        let bytes: Vec<u8> = wild.iter().flat_map(|x| x.to_le_bytes()).collect();
        let back = mono(Encoding::F32, &bytes);
        assert!(wild.iter().zip(&back).all(|(a, b)| a.to_bits() == b.to_bits()));
        let wide = mono(Encoding::F64, &1.0e300_f64.to_le_bytes());
        assert_eq!(wide, [f32::INFINITY]);
    }

    /// ITU-T G.711 tables 1a and 2a: the largest outputs (4032 of 4096 and 8031 of 8192, here times 8 and 4),
    /// and the smallest.
    #[test]
    fn telephone_codes_at_their_ends() {
        assert_eq!((a_law(0xaa), a_law(0x2a)), (32_256, -32_256));
        assert_eq!((a_law(0xd5), a_law(0x55)), (8, -8));
        assert_eq!((mu_law(0x80), mu_law(0x00)), (32_124, -32_124));
        assert_eq!((mu_law(0xff), mu_law(0x7f)), (0, 0));
    }

    #[test]
    fn many_channels_each_find_their_plane() {
        for channels in [1, 2, 3, 16, 64] {
            let frames = 1_000;
            let bytes: Vec<u8> =
                (0..frames * channels).flat_map(|i| ((i % channels) as i16 * 100).to_le_bytes()).collect();
            let mut planes = vec![Vec::new(); channels];
            deinterleave(Encoding::S16, &bytes, &mut planes);
            for (channel, plane) in planes.iter().enumerate() {
                assert_eq!(plane.len(), frames);
                assert!(plane.iter().all(|&x| x == (channel * 100) as f32 / 32_768.0));
            }
        }
    }

    #[test]
    fn a_cut_frame_is_left_out() {
        assert_eq!(mono(Encoding::S16, &[0, 0, 7]), [0.0]);
        assert!(mono(Encoding::S24, &[]).is_empty());
    }
}
