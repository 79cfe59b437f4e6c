//! All meters of one channel, fed hop by hop.
//!
//! The channel keeps the last 170 ms before a frame and the frame in progress in one buffer, so that every meter finds
//! its history before the samples it measures. Invalid samples are 0 from here on.

use crate::dsp::k_weighting::{self, KWeighting};
use crate::dsp::lanes;
use crate::dsp::oversample;
use crate::units::{Dbfs, FrameCount, SampleRate, Seconds};

use super::activity::{Recent, WindowPeak};
use super::clock::{Clock, HopSpan};
use super::pair;
use super::peak::Peaks;
use super::readings::{Activity, ChannelReadings, Hop, Whole};
use super::rms::Moments;
use super::runs::{self, Runs};
use super::spectrum::{self, SpectrumMeter, SpectrumPlan};
use super::take::Take;
use super::{Bench, Tools};

/// Most samples of a frame at `rate`.
pub(super) fn longest_frame(rate: SampleRate) -> usize {
    rate.get().div_ceil(10) as usize
}

pub(super) struct Channel {
    rate: SampleRate,
    /// `past` samples of history, then the frame in progress.
    buffer: Vec<f32>,
    past: usize,
    invalid: u64,
    k_weighting: KWeighting,
    runs: Runs,
    frame_peaks: Peaks,
    frame: Moments,
    window_peak: WindowPeak,
    /// Whether the frame in progress began before the activity was restarted.
    stale: bool,
    recent: Recent,
    take: Take,
    whole_peaks: Peaks,
    whole: Moments,
    whole_invalid: u64,
    spectrum: Option<SpectrumMeter>,
}

impl Channel {
    pub fn new(rate: SampleRate) -> Self {
        let longest = longest_frame(rate);
        let past = pair::window(rate).max(oversample::HISTORY);
        Self {
            rate,
            buffer: vec![0.0; past + longest],
            past,
            invalid: 0,
            k_weighting: KWeighting::new(rate, rate.get().div_ceil(100) as usize),
            runs: Runs::default(),
            frame_peaks: Peaks::default(),
            frame: Moments::default(),
            window_peak: WindowPeak::default(),
            stale: false,
            recent: Recent::new(),
            take: Take::new(),
            whole_peaks: Peaks::default(),
            whole: Moments::default(),
            whole_invalid: 0,
            spectrum: None,
        }
    }

    pub fn ask_for_spectra(&mut self, plan: &SpectrumPlan) {
        self.past = self.past.max(plan.length());
        self.buffer = vec![0.0; self.past + longest_frame(self.rate)];
        self.spectrum = Some(plan.meter());
    }

    /// The most runs that can end in one hop.
    pub fn most_runs(rate: SampleRate) -> usize {
        rate.get().div_ceil(100) as usize / 4 + 2
    }

    /// Takes samples into the frame in progress, from place `at` on.
    pub fn append(&mut self, at: usize, samples: &[f32]) {
        let start = self.past + at;
        self.invalid += u64::from(lanes::clean(samples, &mut self.buffer[start..start + samples.len()]));
    }

    /// Measures the hop `span` that ends at frame `end`; gives its K-weighted energy.
    /// `fresh`: the first hop after a gap.
    pub fn hop(&mut self, span: &HopSpan, end: FrameCount, fresh: bool, readings: &mut ChannelReadings) -> f64 {
        let (from, to) = (self.past + span.from, self.past + span.to);
        let (peaks, moments) = self.measure(from, to, fresh);
        readings.hop = Hop {
            sample_peak: amplitude(peaks.sample),
            true_peak: amplitude(peaks.true_peak),
            rms: Dbfs::from_power(moments.power()),
        };
        readings.whole = self.whole();
        readings.runs.clear();
        self.runs.scan(&self.buffer[from - runs::HISTORY..to], end, peaks.sample, &mut readings.runs);
        self.k_weighting.energy(&self.buffer[from - k_weighting::HISTORY..to])
    }

    /// Takes the spectrum, if one is due at the end of the hop `span`.
    pub fn look(&mut self, span: &HopSpan, tools: &Tools, bench: &mut Bench, readings: &mut ChannelReadings) {
        let (Some(meter), Some(plan), Some(scratch)) = (&mut self.spectrum, &tools.spectra, &mut bench.spectra) else {
            return;
        };
        if span.number % spectrum::HOPS == 1 && span.end as usize >= plan.length() {
            let to = self.past + span.to;
            let advance = Clock::samples_of(self.rate, span.number, spectrum::HOPS);
            meter.look(plan, scratch, &self.buffer[to - plan.length()..to], advance, &mut readings.spectrum);
        }
    }

    /// Takes the spectrum and measures nothing else.
    pub fn look_alone(&mut self, span: &HopSpan, tools: &Tools, bench: &mut Bench, readings: &mut ChannelReadings) {
        self.look(span, tools, bench, readings);
        if span.completes_frame {
            self.buffer.copy_within(span.to..span.to + self.past, 0);
        }
    }

    /// Ends a complete frame of `length` samples.
    pub fn end_frame(&mut self, length: usize, tools: &Tools, bench: &mut Bench, readings: &mut ChannelReadings) {
        let power = self.frame_power(readings);
        readings.frame.bands = tools.bands.bands(&self.buffer[self.past..self.past + length], &mut bench.bands);
        if let (Some(plan), Some(scratch)) = (&tools.mains, &mut bench.mains) {
            plan.look(&self.buffer[self.past..self.past + length], scratch, &mut readings.mains);
        }
        let stale = std::mem::take(&mut self.stale);
        let peak = self.window_peak.push(self.frame_peaks.true_peak);
        self.take.push(power, peak);
        if stale {
            // It holds sound from before the restart: the next frame is the first that counts.
            self.window_peak.clear();
        } else {
            readings.recent = self.recent.push(power, peak);
        }
        self.begin_frame();
        self.buffer.copy_within(length..length + self.past, 0);
    }

    /// Ends the take where the frame in progress stands, `in_frame` samples into it. A last frame counts
    /// if half of it is there, or if it is the only one. The values between the last samples are added.
    pub fn finish(&mut self, in_frame: usize, end: FrameCount, readings: &mut ChannelReadings) {
        let to = self.past + in_frame;
        let tail = Peaks::after(&self.buffer[..to]);
        self.frame_peaks.raise(tail);
        self.whole_peaks.raise(tail);
        readings.hop.true_peak = readings.hop.true_peak.max(amplitude(tail.true_peak));
        if self.frame.samples > 0 {
            let power = self.frame_power(readings);
            if self.frame.samples as f64 >= f64::from(self.rate.get()) / 20.0 || self.take.is_empty() {
                self.take.push(power, self.window_peak.push(self.frame_peaks.true_peak));
            }
            self.begin_frame();
        }
        readings.whole = self.whole();
        let mut last = [0f32; 2 * runs::HISTORY];
        last[..runs::HISTORY].copy_from_slice(&self.buffer[to - runs::HISTORY..to]);
        self.runs.scan(&last, end + FrameCount::new(runs::HISTORY as u64), 0.0, &mut readings.runs);
    }

    /// A gap follows the frame in progress, `pending` samples of whose newest hop are not measured yet.
    /// They count for the take only; everything that would span the gap starts anew.
    pub fn gap(&mut self, in_frame: usize, pending: usize, fresh: bool) {
        let to = self.past + in_frame;
        if pending > 0 {
            self.measure(to - pending, to, fresh);
        }
        self.buffer.fill(0.0);
        self.k_weighting.reset();
        self.runs.reset();
        self.window_peak.clear();
        self.stale = false;
        if let Some(spectrum) = &mut self.spectrum {
            spectrum.reset();
        }
        self.begin_frame();
    }

    /// Forgets what was heard recently, the frame in progress included.
    pub fn restart_activity(&mut self, readings: &mut ChannelReadings) {
        self.recent.clear();
        self.window_peak.clear();
        self.stale = self.frame.samples > 0 || self.invalid > 0;
        readings.recent = Activity::default();
    }

    /// What the pair meter looks at: the samples up to the end of the newest frame.
    pub fn history(&self) -> &[f32] {
        &self.buffer[..self.past]
    }

    pub fn take(&self) -> Activity {
        self.take.activity()
    }

    pub fn whole(&self) -> Whole {
        Whole {
            length: Seconds::new(self.whole.samples as f64 / f64::from(self.rate.get())),
            sample_peak: amplitude(self.whole_peaks.sample),
            true_peak: amplitude(self.whole_peaks.true_peak),
            rms: Dbfs::from_power(self.whole.power()),
            dc: self.whole.mean(),
            invalid_samples: self.whole_invalid,
        }
    }

    fn measure(&mut self, from: usize, to: usize, fresh: bool) -> (Peaks, Moments) {
        let peaks = Peaks::of(&self.buffer[..to], from, fresh);
        let moments = Moments::of(&self.buffer[from..to]);
        self.frame_peaks.raise(peaks);
        self.frame.add(moments);
        self.whole_peaks.raise(peaks);
        self.whole.add(moments);
        self.whole_invalid += std::mem::take(&mut self.invalid);
        (peaks, moments)
    }

    fn frame_power(&self, readings: &mut ChannelReadings) -> f64 {
        let power = self.frame.power();
        readings.frame.sample_peak = amplitude(self.frame_peaks.sample);
        readings.frame.true_peak = amplitude(self.frame_peaks.true_peak);
        readings.frame.rms = Dbfs::from_power(power);
        power
    }

    fn begin_frame(&mut self) {
        self.frame_peaks = Peaks::default();
        self.frame = Moments::default();
    }
}

fn amplitude(amplitude: f32) -> Dbfs {
    Dbfs::from_amplitude(f64::from(amplitude))
}
