//! The terminal as its user meets it: words, keys of machine-readable lines, exit codes, help, a screen.

mod codes;
#[cfg(target_os = "linux")]
mod ends;
mod help;
mod records;
mod replayed;
mod screen;
mod steps;
mod sweeps;
mod takes;
mod words;

use std::path::Path;

use assert_cmd::Command;

/// The program, with nothing of the machine's own settings.
fn beforedoors() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
    command.env_remove("NO_COLOR").env_remove("COLORTERM").env("TERM", "xterm-256color");
    // Without a command it would open a window.
    command.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env_remove("WAYLAND_SOCKET");
    command
}

/// A 16-bit WAV of 48 kHz; each frame holds one sample a channel, full scale = 1.
fn write_wav(path: &Path, channels: u16, frames: impl Iterator<Item = f64>) {
    let spec =
        hound::WavSpec { channels, sample_rate: 48_000, bits_per_sample: 16, sample_format: hound::SampleFormat::Int };
    let mut file = hound::WavWriter::create(path, spec).expect("a writable file");
    for sample in frames {
        file.write_sample((sample * 32_767.0).round() as i16).expect("space for a sample");
    }
    file.finalize().expect("a finished file");
}

/// A sine of this peak amplitude.
fn sine(hz: f64, peak: f64, seconds: f64) -> impl Iterator<Item = f64> {
    let frames = (seconds * 48_000.0) as u32;
    (0..frames).map(move |n| peak * (std::f64::consts::TAU * hz * f64::from(n) / 48_000.0).sin())
}

/// Standard output as JSON Lines.
fn json_lines(out: &[u8]) -> Vec<serde_json::Value> {
    let text = std::str::from_utf8(out).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect(line)).collect()
}
