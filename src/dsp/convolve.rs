//! Convolution with long responses, from several inputs to several outputs, block by block.
//!
//! In and out: amplitudes. Each block of output holds what the block of input just given and all before it
//! bring: no delay beyond the block itself. Uniformly partitioned overlap-save in two sizes: the first
//! part of the responses in partitions of one block, the rest in ones 32 times as long (W. G. Gardner,
//! "Efficient convolution without input–output delay", JAES 43(3), 1995; A. Torger and A. Farina, WASPAA
//! 2001). `process` allocates nothing; sums run in a fixed order, so that a stream gives the same bits
//! again. Accuracy is that of single precision: errors some 120 dB under the output.
//! No inputs, no outputs and empty responses give silence; a sample that is not a number spoils what follows.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// Short blocks in a long one.
const LONGER: usize = 32;

pub struct Convolver {
    block: usize,
    head: Uniform,
    tail: Option<Tail>,
}

/// What comes later than one long block.
struct Tail {
    long: Uniform,
    /// Input of the long block that is being filled, and the output of the last one.
    input: Vec<Vec<f32>>,
    output: Vec<Vec<f32>>,
    filled: usize,
}

impl Convolver {
    /// `responses[output][input]`; `block` is the length of every block that `process` will see, at least 1.
    pub fn new(responses: &[Vec<Vec<f32>>], block: usize) -> Self {
        let block = block.max(1);
        let long = LONGER * block;
        let inputs = responses.iter().map(Vec::len).max().unwrap_or(0);
        let part = |from: usize, to: usize| -> Vec<Vec<Vec<f32>>> {
            let cut = |response: &Vec<f32>| response.get(from..to.min(response.len())).unwrap_or(&[]).to_vec();
            responses.iter().map(|row| row.iter().map(cut).collect()).collect()
        };
        let longest = responses.iter().flatten().map(Vec::len).max().unwrap_or(0);
        let tail = (longest > long).then(|| Tail {
            long: Uniform::new(&part(long, longest), inputs, long),
            input: vec![vec![0.0; long]; inputs],
            output: vec![vec![0.0; long]; responses.len()],
            filled: 0,
        });
        Self { block, head: Uniform::new(&part(0, long), inputs, block), tail }
    }

    /// One block of each input to one of each output.
    pub fn process(&mut self, inputs: &[Vec<f32>], outputs: &mut [Vec<f32>]) {
        self.head.process(inputs, outputs);
        let Some(tail) = &mut self.tail else { return };
        let span = tail.filled..tail.filled + self.block;
        for (output, late) in outputs.iter_mut().zip(&tail.output) {
            for (sample, late) in output.iter_mut().zip(&late[span.clone()]) {
                *sample += late;
            }
        }
        for (input, kept) in inputs.iter().zip(&mut tail.input) {
            kept[span.clone()].copy_from_slice(&input[..self.block]);
        }
        tail.filled = span.end;
        if tail.filled == self.block * LONGER {
            tail.filled = 0;
            tail.long.process(&tail.input, &mut tail.output);
        }
    }
}

/// Partitions of one size.
struct Uniform {
    block: usize,
    partitions: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    /// Of each output, of each input: the partitions' spectra in a row.
    responses: Vec<Vec<Spectra>>,
    /// Of each input: the spectra of the last blocks in a ring, and the last two blocks themselves.
    past: Vec<Spectra>,
    recent: Vec<Vec<f32>>,
    newest: usize,
    sum: Spectra,
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

/// Spectra one after the other, real and imaginary parts apart.
#[derive(Clone)]
struct Spectra {
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Uniform {
    fn new(responses: &[Vec<Vec<f32>>], inputs: usize, block: usize) -> Self {
        let mut planner = RealFftPlanner::new();
        let (forward, inverse) = (planner.plan_fft_forward(2 * block), planner.plan_fft_inverse(2 * block));
        let bins = block + 1;
        let longest = responses.iter().flatten().map(Vec::len).max().unwrap_or(0);
        let partitions = longest.div_ceil(block).max(1);
        let mut unit = Self {
            block,
            partitions,
            responses: Vec::new(),
            past: vec![Spectra::silent(partitions * bins); inputs],
            recent: vec![vec![0.0; 2 * block]; inputs],
            newest: 0,
            sum: Spectra::silent(bins),
            time: vec![0.0; 2 * block],
            bins: vec![Complex::default(); bins],
            scratch: vec![Complex::default(); forward.get_scratch_len().max(inverse.get_scratch_len())],
            forward,
            inverse,
        };
        unit.responses =
            responses.iter().map(|row| row.iter().map(|response| unit.spectra(response)).collect()).collect();
        unit
    }

    /// Of the partitions of a response, with the scale that undoes the two transforms.
    fn spectra(&mut self, response: &[f32]) -> Spectra {
        let bins = self.block + 1;
        let mut spectra = Spectra::silent(self.partitions * bins);
        let scale = 1.0 / (2 * self.block) as f32;
        for (index, part) in response.chunks(self.block).enumerate() {
            self.time.fill(0.0);
            for (out, sample) in self.time.iter_mut().zip(part) {
                *out = scale * sample;
            }
            self.transform();
            spectra.write(index * bins, &self.bins);
        }
        spectra
    }

    /// From `time` to `bins`.
    fn transform(&mut self) {
        let done = self.forward.process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok(), "the buffers were made for this plan");
    }

    fn process(&mut self, inputs: &[Vec<f32>], outputs: &mut [Vec<f32>]) {
        let (block, bins) = (self.block, self.block + 1);
        self.newest = if self.newest == 0 { self.partitions - 1 } else { self.newest - 1 };
        for index in 0..self.past.len() {
            let recent = &mut self.recent[index];
            recent.copy_within(block.., 0);
            match inputs.get(index) {
                Some(input) => recent[block..].copy_from_slice(&input[..block]),
                None => recent[block..].fill(0.0),
            }
            self.time.copy_from_slice(recent);
            self.transform();
            self.past[index].write(self.newest * bins, &self.bins);
        }
        let split = (self.partitions - self.newest) * bins;
        for (row, output) in self.responses.iter().zip(outputs) {
            self.sum.re.fill(0.0);
            self.sum.im.fill(0.0);
            for (response, past) in row.iter().zip(&self.past) {
                add_products(&mut self.sum, &past.part(self.newest * bins..past.re.len()), &response.part(0..split));
                add_products(&mut self.sum, &past.part(0..self.newest * bins), &response.part(split..past.re.len()));
            }
            for ((bin, &re), &im) in self.bins.iter_mut().zip(&self.sum.re).zip(&self.sum.im) {
                *bin = Complex::new(re, im);
            }
            // Both are real in the spectrum of a real signal; rounding leaves them so.
            self.bins[0].im = 0.0;
            self.bins[block].im = 0.0;
            let done = self.inverse.process_with_scratch(&mut self.bins, &mut self.time, &mut self.scratch);
            debug_assert!(done.is_ok(), "the buffers were made for this plan");
            output[..block].copy_from_slice(&self.time[block..]);
        }
    }
}

impl Spectra {
    fn silent(bins: usize) -> Self {
        Self { re: vec![0.0; bins], im: vec![0.0; bins] }
    }

    fn write(&mut self, at: usize, bins: &[Complex<f32>]) {
        let (re, im) = (&mut self.re[at..][..bins.len()], &mut self.im[at..][..bins.len()]);
        for ((re, im), bin) in re.iter_mut().zip(im).zip(bins) {
            (*re, *im) = (bin.re, bin.im);
        }
    }

    fn part(&self, range: std::ops::Range<usize>) -> Part<'_> {
        Part { re: &self.re[range.clone()], im: &self.im[range] }
    }
}

struct Part<'a> {
    re: &'a [f32],
    im: &'a [f32],
}

/// Adds up a·b, spectrum by spectrum.
fn add_products(sum: &mut Spectra, a: &Part, b: &Part) {
    let bins = sum.re.len();
    let a = a.re.chunks_exact(bins).zip(a.im.chunks_exact(bins));
    let b = b.re.chunks_exact(bins).zip(b.im.chunks_exact(bins));
    for (a, b) in a.zip(b) {
        add_product(&mut sum.re, &mut sum.im, a, b);
    }
}

type Planes<'a> = (&'a [f32], &'a [f32]);

#[multiversion(targets("x86_64+avx2"))]
fn add_product(re: &mut [f32], im: &mut [f32], a: Planes<'_>, b: Planes<'_>) {
    let bins = re.len();
    let (im, a, b) = (&mut im[..bins], (&a.0[..bins], &a.1[..bins]), (&b.0[..bins], &b.1[..bins]));
    for bin in 0..bins {
        re[bin] += a.0[bin] * b.0[bin] - a.1[bin] * b.1[bin];
        im[bin] += a.0[bin] * b.1[bin] + a.1[bin] * b.0[bin];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(seed: u32, length: usize) -> Vec<f32> {
        let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(1);
        (0..length)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    /// By the definition, in double precision.
    fn direct(signal: &[f32], response: &[f32]) -> Vec<f64> {
        let term = |n: usize, k: usize| f64::from(signal[n - k]) * f64::from(response[k]);
        (0..signal.len()).map(|n| (0..response.len().min(n + 1)).map(|k| term(n, k)).sum()).collect()
    }

    /// Against the definition of convolution: within 100 dB of single precision's rounding under the output.
    #[test]
    fn equals_direct_convolution() {
        for (block, lengths) in [(1, [3, 40]), (8, [1, 7]), (8, [255, 256]), (8, [257, 900]), (64, [100, 5000])] {
            let length = 40 * block.max(60);
            let length = length - length % block;
            let inputs = [noise(1, length), noise(2, length)];
            let responses: Vec<Vec<Vec<f32>>> = (0..3)
                .map(|output| (0..2).map(|input| noise(10 + 2 * output + input, lengths[input as usize])).collect())
                .collect();
            let mut convolver = Convolver::new(&responses, block);
            let mut heard = vec![Vec::new(); 3];
            let mut outputs = vec![vec![0.0; block]; 3];
            for at in (0..length).step_by(block) {
                let now: Vec<Vec<f32>> = inputs.iter().map(|input| input[at..at + block].to_vec()).collect();
                convolver.process(&now, &mut outputs);
                for (heard, output) in heard.iter_mut().zip(&outputs) {
                    heard.extend_from_slice(output);
                }
            }
            for (heard, row) in heard.iter().zip(&responses) {
                let parts = [direct(&inputs[0], &row[0]), direct(&inputs[1], &row[1])];
                let expected: Vec<f64> = parts[0].iter().zip(&parts[1]).map(|(a, b)| a + b).collect();
                let power: f64 = expected.iter().map(|x| x * x).sum();
                let error: f64 = heard.iter().zip(&expected).map(|(a, b)| (f64::from(*a) - b).powi(2)).sum();
                assert!(error < 1e-10 * power, "block {block}, {lengths:?}: {} dB", 10.0 * (error / power).log10());
            }
        }
    }

    #[test]
    fn nothing_in_nothing_out() {
        Convolver::new(&[], 64).process(&[], &mut []);
        let mut out = vec![vec![9.0; 4]];
        Convolver::new(&[vec![]], 4).process(&[], &mut out);
        assert_eq!(out, [[0.0; 4]]);
        Convolver::new(&[vec![vec![]]], 0).process(&[vec![1.0]], &mut out);
        assert_eq!(out[0][0], 0.0);
    }
}
