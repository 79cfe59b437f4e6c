//! Numbered sound: the sample of a frame tells which frame it is, on every channel, so that one that was lost, doubled,
//! moved or torn shows.
//!
//! Frame k has (k + 4099·channel) mod 2^22 in steps of 2^−22, exact in `f32`. Numbers repeat after 87 s; what is lost in
//! one piece is much shorter. Feeders keep their own clock, as a device does: they never wait for the reader, and count
//! what it left no room for.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use beforedoors::block::Block;

pub const RATE: u32 = 48_000;
pub const CHANNELS: usize = 32;
const PERIOD: u64 = 1 << 22;
const CHUNK: u64 = 480;

fn number(frame: u64, channel: usize) -> u64 {
    (frame + 4_099 * channel as u64) % PERIOD
}

fn sample(frame: u64, channel: usize) -> f32 {
    number(frame, channel) as f32 / PERIOD as f32
}

/// Which frame, of the period, this sample of the first channel is; `None`: no number at all.
fn frame_of(sample: f32) -> Option<u64> {
    let number = f64::from(sample) * PERIOD as f64;
    (number >= 0.0 && number < PERIOD as f64 && number.fract() == 0.0).then_some(number as u64)
}

/// Feeds so many frames into a pipe that does not block, from the moment `begin` is there; gives the number of those
/// that found no room.
pub fn feed(mut pipe: File, frames: u64, begin: &Path) -> u64 {
    let waiting = Instant::now();
    while !begin.exists() {
        assert!(waiting.elapsed() < Duration::from_secs(60), "nobody listens");
        std::thread::sleep(Duration::from_millis(5));
    }
    let begun = Instant::now();
    let mut bytes = Vec::new();
    let (mut at, mut unwritten, mut written) = (0, 0, 0);
    loop {
        while written < bytes.len() {
            match pipe.write(&bytes[written..]) {
                Ok(some) => written += some,
                Err(error) if error.kind() == ErrorKind::WouldBlock => break,
                Err(error) => panic!("the pipe: {error}"),
            }
        }
        let due = CHUNK * (begun.elapsed().as_millis() as u64 / 10);
        if at == frames {
            if written == bytes.len() {
                return unwritten;
            }
            // The rest of a chunk that was begun.
            std::thread::sleep(Duration::from_millis(2));
        } else if at >= due {
            std::thread::sleep(Duration::from_millis(2));
        } else if written < bytes.len() {
            // Its time has come and there is still no room.
            (at, unwritten) = (at + CHUNK, unwritten + CHUNK);
        } else {
            bytes.clear();
            let chunk = (at..at + CHUNK).flat_map(|frame| (0..CHANNELS).map(move |channel| sample(frame, channel)));
            bytes.extend(chunk.flat_map(f32::to_ne_bytes));
            (at, written) = (at + CHUNK, 0);
        }
    }
}

/// What came of the numbers.
#[derive(Debug, Default)]
pub struct Heard {
    /// The frame that comes next, by the numbers.
    next: Option<u64>,
    /// And by the blocks' own clock.
    clock: Option<u64>,
    pub frames: u64,
    /// Frames missing by the blocks' own account.
    pub told: u64,
    /// Frames missing by the numbers.
    pub missing: u64,
    /// Of them, where the blocks told of nothing, or of another number.
    pub untold: u64,
    /// Frames that were told missing and were not.
    pub invented: u64,
    /// Frames that came again, or out of their place.
    pub doubled: u64,
    /// Frames whose channels don't belong together, or that are no numbers.
    pub torn: u64,
    /// Frames of nothing but zeros, which no feeder sends.
    pub zeros: u64,
    /// Blocks whose place is not where the one before ended and the gap begins.
    pub misplaced: u64,
}

impl Heard {
    pub fn take(&mut self, block: &Block) {
        if block.frames() == 0 {
            return;
        }
        let mut gap = block.gap().get();
        self.misplaced += u64::from(self.clock.is_some_and(|clock| clock + gap != block.start().get()));
        self.clock = Some(block.start().get() + block.frames() as u64);
        self.told += gap;
        for index in 0..block.frames() {
            self.frames += 1;
            if (0..CHANNELS).all(|channel| block.channel(channel)[index] == 0.0) {
                self.zeros += 1;
                continue;
            }
            let frame = frame_of(block.channel(0)[index]);
            let whole = |frame| (1..CHANNELS).all(|channel| block.channel(channel)[index] == sample(frame, channel));
            let Some(frame) = frame.filter(|frame| whole(*frame)) else {
                self.torn += 1;
                continue;
            };
            if let Some(next) = self.next {
                let ahead = (frame + PERIOD - next) % PERIOD;
                if ahead > PERIOD / 2 {
                    self.doubled += 1;
                    continue;
                }
                self.missing += ahead;
                self.untold += ahead.saturating_sub(gap);
                self.invented += gap.saturating_sub(ahead);
                gap = 0;
            }
            self.next = Some((frame + 1) % PERIOD);
        }
    }

    /// How many of so many frames never came, at the end.
    pub fn unheard_of(&self, frames: u64) -> u64 {
        (frames % PERIOD + PERIOD - self.next.unwrap_or(0)) % PERIOD
    }
}

/// Each kind of loss is found and told from the others.
#[test]
fn the_numbers_tell() {
    use beforedoors::block::BlockBuf;
    use beforedoors::units::FrameCount;
    let mut heard = Heard::default();
    let mut give = |start: u64, gap: u64, numbers: &[u64]| {
        let mut block = BlockBuf::new(CHANNELS, numbers.len());
        block.restart(FrameCount::new(start), FrameCount::new(gap));
        let frames = numbers.iter().flat_map(|frame| (0..CHANNELS).map(|channel| sample(*frame, channel)));
        block.push_interleaved(&frames.collect::<Vec<f32>>());
        heard.take(&block.as_block());
    };
    give(0, 0, &[PERIOD - 2, PERIOD - 1, 0, 1]);
    give(4, 0, &[2, 5, 5, 6]); // 3 and 4 untold, 5 doubled
    give(18, 10, &[17]); // 10 told and missing
    give(21, 2, &[18]); // invented
    give(23, 0, &[19]); // misplaced
    let mut torn = BlockBuf::new(CHANNELS, 2);
    torn.restart(FrameCount::new(24), FrameCount::ZERO);
    let mut samples: Vec<f32> = (0..CHANNELS).map(|channel| sample(20, channel)).collect();
    samples[CHANNELS - 1] = sample(21, CHANNELS - 1);
    samples.extend([0.0; CHANNELS]);
    torn.push_interleaved(&samples);
    heard.take(&torn.as_block());
    let Heard { frames, told, missing, untold, invented, doubled, torn, zeros, misplaced, .. } = heard;
    assert_eq!((frames, told, missing, untold, invented), (13, 12, 12, 2, 2));
    assert_eq!((doubled, torn, zeros, misplaced), (1, 1, 1, 1));
    assert_eq!(heard.unheard_of(PERIOD + 25), 5);
}
