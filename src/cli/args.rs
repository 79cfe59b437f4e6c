//! What can be asked for on the command line.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};

use super::linecheck::{Fault, fault};
use super::ringout::{DeskArgs, EqArg, loudspeaker};
use crate::engine::ringout::Output;
use crate::view::linecheck::LINECHECK_KEYS;
use crate::view::multitrack::RECORDING_NEWS_KEYS;
use crate::view::plan::PLAN_KEYS;
use crate::view::ready::READY_KEYS;
use crate::view::ringout::RINGOUT_STEP_KEYS;
use crate::view::seats::SEAT_KEYS;
use crate::view::show::SHOW_STEP_KEYS;
use crate::view::sound::SOUND_KEYS;
use crate::view::sweeps::{DELAY_KEYS, MARGIN_KEYS};
use crate::view::venue_notes::NOTES_KEYS;
use crate::view::words::{HEARING, LOCAL_RULES};
use crate::view::{RING_KEYS, TOGETHER_KEYS, records};

/// One thing to do next and why, for the person who runs a school hall's small PA.
///
/// Without a command: the soundcheck of the event in this folder, or else of a simulated stage that
/// needs no device.
#[derive(Debug, Parser)]
#[command(name = "beforedoors", version, after_help = after())]
pub struct Args {
    #[command(subcommand)]
    pub command: Option<Command>,
}

const KEYS: &str = "\
On a terminal the screen lists the keys that answer the step at hand: Space done or yes, N no, L the knob is at its \
limit, S skip. Always: W why, 1–9 and 0 look at a channel, ? help, Q leave. In a pipe there are plain lines.";

fn after() -> String {
    format!("Exit codes: 0 nothing wrong, 1 findings, 2 cannot tell, 3 bad input.\n{HEARING}\n{LOCAL_RULES}")
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Set the input gains: one next step for the whole stage
    #[command(after_long_help = KEYS)]
    Soundcheck(SoundcheckArgs),
    /// Hear whether each wire arrives, alone and clean, where it should
    Linecheck(LinecheckArgs),
    /// What is wrong with recordings or folders of them, where, how bad, and what to do
    Recordings(RecordingsArgs),
    /// Ring out a hall, step by step; or tell what rings in recordings, and when it could be heard
    ///
    /// Without a device or a path: the simulated stage, whose desk obeys what is typed (type help).
    Ringout(RingoutArgs),
    /// How far a loop is from ringing, by a quiet sweep: what is left, where it rings first, which cuts would help
    ///
    /// Of two recordings, or live: with a device, or on the simulated stage, step by step.
    Margin(MarginArgs),
    /// What a seat hears, by the same sweep: how much speech is understood, how the hall dies away
    Seats(SeatsArgs),
    /// How late a second loudspeaker has to play, from a sweep through the mains and one through it, at one place
    Delay(DelayArgs),
    /// What the hall taught on other evenings: what rang, cuts, knobs, seats; all of it to confirm
    Notes(NotesArgs),
    /// Plan the evening: what goes where, is every level and plug right, is it loud enough, what is missing
    Plan(PlanArgs),
    /// Watch the show: one calm line, and what to do where something rings
    ///
    /// Without a device: a simulated show night. Type done, leave or quit.
    Show(ShowArgs),
    /// Put the program with all it needs into a folder, such as on a stick, for a laptop where nothing may be installed
    Carry {
        /// The folder; nothing that is there is replaced
        #[arg(value_name = "FOLDER")]
        folder: PathBuf,
    },
    /// The input devices of this machine, with channels and rates
    Devices(DevicesArgs),
    /// A completion script for your shell
    ///
    /// For bash: eval "$(beforedoors completions bash)" in your .bashrc; other shells likewise.
    Completions { shell: clap_complete::Shell },
}

#[derive(Clone, Debug, Default, ClapArgs)]
pub struct SoundcheckArgs {
    /// Listen to this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with_all = ["file", "stage"])]
    pub device: Option<String>,
    /// Hear a recording of the soundcheck instead: what would have been said, then how each channel is
    #[arg(long, value_name = "PATH", conflicts_with = "stage")]
    pub file: Option<PathBuf>,
    /// The simulated stage: no device needed
    #[arg(long)]
    pub stage: bool,
    /// The event folder with event.toml and inputs.csv [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// How the laptop hears the desk [else as the event says, else usb]
    #[arg(long, value_name = "WAY")]
    pub connection: Option<Way>,
    /// Which simulated evening: the same number gives the same evening
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
    /// How brave the simulated performers are
    #[arg(long)]
    pub mood: Option<MoodArg>,
    /// Measure what the desk's 0 reads here, on this channel of the device, and show levels in the desk's dB
    #[arg(long, value_name = "CHANNEL", requires = "device")]
    pub desk_zero: Option<u16>,
    /// Play the tone for it from this machine's output (asks for the volume first)
    #[arg(long, requires = "desk_zero")]
    pub tone: bool,
    /// Write the tone as a WAV file, to be played from somewhere else, and stop
    #[arg(long, value_name = "PATH")]
    pub tone_file: Option<PathBuf>,
    /// Record all channels that may be recorded into this folder while listening
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["file", "stage"])]
    pub record: Option<PathBuf>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = format!("{}\n\n{RECORDING_NEWS_KEYS}", records::SOUNDCHECK_KEYS))]
    pub json: bool,
}

#[derive(Clone, Debug, ClapArgs)]
pub struct NotesArgs {
    /// The event folder; the notes stand beside the venue.toml that it uses [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// Note how a channel's knob stands, in your words: --knob 4 "2 o'clock"
    #[arg(long, num_args = 2, value_names = ["CHANNEL", "POSITION"])]
    pub knob: Option<Vec<String>>,
    /// Which knob that is, if it is not the one for the input gain
    #[arg(long, value_name = "NAME", requires = "knob")]
    pub named: Option<String>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = NOTES_KEYS)]
    pub json: bool,
}

#[derive(Clone, Debug, Default, ClapArgs)]
pub struct LinecheckArgs {
    /// Listen to this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with = "stage")]
    pub device: Option<String>,
    /// The simulated stage: no device needed
    #[arg(long)]
    pub stage: bool,
    /// The event folder with event.toml and inputs.csv; ticks are written there [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// One microphone and a laptop's video: three taps, 90 seconds, no list
    #[arg(long)]
    pub assembly: bool,
    /// The channel of a microphone in the hall, which then hears the loudspeakers
    #[arg(long, value_name = "CHANNEL", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub room_mic: Option<u16>,
    /// Which simulated stage: the same number gives the same one
    #[arg(long, value_name = "NUMBER", conflicts_with = "device")]
    pub seed: Option<u64>,
    /// What is wrong on the simulated stage, as often as you like, such as swap:4,5 or hum50:7 [else as the number has it]
    #[arg(long, value_name = "FAULT", value_parser = fault, conflicts_with = "device")]
    pub fault: Vec<Fault>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = LINECHECK_KEYS)]
    pub json: bool,
}

#[derive(Clone, Debug, Default, ClapArgs)]
pub struct RecordingsArgs {
    /// Recordings, or folders of them
    #[arg(required_unless_present = "watch", value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Check takes as they land in this folder, until told to end
    #[arg(long, value_name = "FOLDER", conflicts_with = "paths")]
    pub watch: Option<PathBuf>,
    /// The event whose input list tells what each channel is
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// Listen for ringing everywhere [else only where a tone stood alone for seconds]
    #[arg(long)]
    pub rings: bool,
    /// Also the RMS by the AES17 convention: a full-scale sine reads 0.00
    #[arg(long)]
    pub aes17: bool,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = format!("{}\n\n{TOGETHER_KEYS}", records::RECORDING_KEYS))]
    pub json: bool,
    /// Write a report: its ending tells the form, .html to read and print, .csv, or .json
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// The folder for new files; nothing that is there is replaced
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Copies with markers at faults and cues, and the markers as CSV
    #[arg(long, requires = "out")]
    pub markers: bool,
    /// Copies with a right header, where the header lies
    #[arg(long, requires = "out")]
    pub mend: bool,
    /// Copies at this loudness to hand out (-18 is usual), true peak -1 dBTP at most
    #[arg(long, value_name = "LUFS", requires = "out", allow_negative_numbers = true, value_parser = loudness)]
    pub loudness: Option<f64>,
    /// How wide such copies are, dithered [else 16 of 16, or 24]
    #[arg(long, value_name = "BITS", requires = "loudness")]
    pub bits: Option<Bits>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Bits {
    #[value(name = "16")]
    B16,
    #[value(name = "24")]
    B24,
}

fn loudness(text: &str) -> Result<f64, String> {
    let wanted = text.replace('−', "-").parse::<f64>().ok().filter(|lufs| (-40.0..=-5.0).contains(lufs));
    wanted.ok_or_else(|| "a loudness lies between -40 and -5 LUFS; -18 is usual".into())
}

#[derive(Clone, Debug, ClapArgs)]
pub struct RingoutArgs {
    /// Recordings, or folders of them
    #[arg(value_name = "PATH", conflicts_with_all = ["device", "stage", "seed"])]
    pub paths: Vec<PathBuf>,
    /// Listen to this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with_all = ["stage", "seed"])]
    pub device: Option<String>,
    /// The simulated stage: no device needed
    #[arg(long)]
    pub stage: bool,
    /// The event folder whose input list names the microphones [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// Which simulated hall: the same number gives the same hall
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
    #[command(flatten)]
    pub desk: DeskArgs,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = format!("{RING_KEYS}\n\n{RINGOUT_STEP_KEYS}"))]
    pub json: bool,
}

#[derive(Clone, Debug, ClapArgs)]
pub struct DelayArgs {
    /// What was played: a sweep, or the two of `margin --sweep-file`, silence around them
    #[arg(long, value_name = "WAV", requires_all = ["mains", "second"], required_unless_present_any = ["device", "stage"])]
    pub sent: Option<PathBuf>,
    /// What came back of the mains alone, from the same moment on: a microphone each channel
    #[arg(long, value_name = "WAV", requires = "sent")]
    pub mains: Option<PathBuf>,
    /// What came back of the second loudspeaker alone, with the microphones where they were
    #[arg(long, value_name = "WAV", requires = "sent")]
    pub second: Option<PathBuf>,
    /// Measure now: the microphones come in on this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with_all = ["sent", "stage"], requires_all = ["channels", "reference"])]
    pub device: Option<String>,
    /// Measure on the simulated stage: no device needed
    #[arg(long, conflicts_with = "sent")]
    pub stage: bool,
    /// Which simulated hall: the same number gives the same hall
    #[arg(long, value_name = "NUMBER", requires = "stage")]
    pub seed: Option<u64>,
    /// The output that plays (its name, a part of it, or its id) [else the system's]
    #[arg(long, value_name = "NAME", requires = "device")]
    pub output: Option<String>,
    /// The measuring microphones' channels, such as 5 or 5,6
    #[arg(long, value_name = "CHANNELS", value_delimiter = ',', requires = "device", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub channels: Vec<u16>,
    /// A channel that brings the sweep whichever loudspeaker plays: the return's own tap, the main mix, or a cable from the
    /// computer's output
    #[arg(long, value_name = "CHANNEL", requires = "device", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub reference: Option<u16>,
    /// Nothing is played louder than this [else -20; -10 at most]
    #[arg(long, value_name = "DBFS", conflicts_with = "sent", allow_negative_numbers = true, value_parser = loudest)]
    pub loudest: Option<f64>,
    /// One device played and captured, so their clocks are one
    #[arg(long, requires = "sent")]
    pub one_device: bool,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = DELAY_KEYS)]
    pub json: bool,
}

/// A quiet sweep: from two recordings, or made now.
#[derive(Clone, Debug, ClapArgs)]
pub struct SweepArgs {
    /// What was played: a sweep, or the two of --sweep-file, silence around them
    #[arg(long, value_name = "WAV", requires = "captured", required_unless_present_any = ["device", "stage", "sweep_file"])]
    pub sent: Option<PathBuf>,
    /// What came back, from the same moment on: a microphone each channel
    #[arg(long, value_name = "WAV", requires = "sent")]
    pub captured: Option<PathBuf>,
    /// One device played and captured, so their clocks are one
    #[arg(long, requires = "sent")]
    pub one_device: bool,
    /// Measure now: the microphones come in on this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with_all = ["sent", "stage"])]
    pub device: Option<String>,
    /// Measure on the simulated stage: no device needed
    #[arg(long, conflicts_with = "sent")]
    pub stage: bool,
    /// Which simulated hall: the same number gives the same hall
    #[arg(long, value_name = "NUMBER", requires = "stage")]
    pub seed: Option<u64>,
    /// The output that plays (its name, a part of it, or its id) [else the system's]
    #[arg(long, value_name = "NAME", requires = "device")]
    pub output: Option<String>,
    /// A channel of the device with the main mix, which then proves the loop open
    #[arg(long, value_name = "CHANNEL", requires = "device", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub main_mix: Option<u16>,
    /// Write the two sweeps as a WAV file, to be played from somewhere else, and stop
    #[arg(long, value_name = "FILE", conflicts_with_all = ["sent", "device", "stage"])]
    pub sweep_file: Option<PathBuf>,
    /// Nothing is played louder than this [else -20; -10 at most]
    #[arg(long, value_name = "DBFS", conflicts_with = "sent", allow_negative_numbers = true, value_parser = loudest)]
    pub loudest: Option<f64>,
    /// Where the fader of the return stood that the sweep was played into [else 0]
    #[arg(long = "return", value_name = "DB", allow_negative_numbers = true, value_parser = fader)]
    pub at_return: Option<f64>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long)]
    pub json: bool,
}

#[derive(Clone, Debug, ClapArgs)]
#[command(after_long_help = MARGIN_KEYS)]
pub struct MarginArgs {
    #[command(flatten)]
    pub sweep: SweepArgs,
    /// Where the loop is opened
    #[arg(long, value_name = "PLACE", default_value = "return", conflicts_with_all = ["sent", "stage"])]
    pub opened: OpenedArg,
    /// Whose loop it is: mains, wedge1, wedge2 … [else the mains]
    #[arg(long, value_name = "NAME", conflicts_with = "sent", value_parser = loudspeaker)]
    pub loudspeaker: Option<Output>,
    /// The channels that are measured, such as 1,2,5 [else the microphones of the event, else all]
    #[arg(long, value_name = "CHANNELS", value_delimiter = ',', conflicts_with = "sent", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub channels: Vec<u16>,
    /// The event folder whose input list names the microphones [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER", requires = "device")]
    pub event: Option<PathBuf>,
    /// The equaliser that cuts are computed for
    #[arg(long, value_name = "KIND", default_value = "31")]
    pub eq: EqArg,
    /// Decibels to keep under the ring [else 6]
    #[arg(long, value_name = "DB", value_parser = spare)]
    pub spare: Option<f64>,
    /// Where each measured microphone's fader stands in the show, as marked [else 0]
    #[arg(long, value_name = "DB,DB,…", allow_hyphen_values = true, value_delimiter = ',', value_parser = fader)]
    pub faders: Vec<f64>,
    /// The same sweep from the computer's output straight into its input, with the same knobs
    #[arg(long, value_name = "WAV")]
    pub loopback: Option<PathBuf>,
}

#[derive(Clone, Debug, ClapArgs)]
#[command(after_long_help = SEAT_KEYS)]
pub struct SeatsArgs {
    #[command(flatten)]
    pub sweep: SweepArgs,
    /// The measuring microphones' channels, such as 5 or 5,6: so many seats are measured at once
    #[arg(long, value_name = "CHANNELS", value_delimiter = ',', conflicts_with = "sent", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub channels: Vec<u16>,
    /// A seat, such as "row 12"; once for each, in the order in which they are measured [else those of the event's venue.toml]
    #[arg(long = "seat", value_name = "NAME")]
    pub seats: Vec<String>,
    /// The event folder, whose venue.toml tells the seats and where they are
    #[arg(long, value_name = "FOLDER", conflicts_with = "stage")]
    pub event: Option<PathBuf>,
    /// Speech as it leaves the desk: its RMS while somebody speaks [else -20]
    #[arg(long, value_name = "DBFS", allow_negative_numbers = true, value_parser = speech)]
    pub speech: Option<f64>,
    /// Speech so many decibels over the background, instead of over what was measured
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = over_noise)]
    pub over_noise: Option<f64>,
    /// The measuring microphone is the one that the event's [sound] was compared with, its knob untouched
    #[arg(long, requires = "event")]
    pub compared: bool,
}

/// Where a live sweep opens the loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum OpenedArg {
    /// The laptop plays into a spare return; the microphones' taps come back
    Return,
    /// The laptop stands between the desk's main output and the loudspeakers
    Main,
}

/// What a meter shows.
fn shown(text: &str) -> Result<f64, String> {
    between(text, 30.0, 130.0)
}

/// Nothing louder, dBFS.
fn loudest(text: &str) -> Result<f64, String> {
    between(text, -50.0, -10.0)
}

/// Decibels under the ring.
fn spare(text: &str) -> Result<f64, String> {
    between(text, 0.0, 30.0)
}

/// A fader's mark.
fn fader(text: &str) -> Result<f64, String> {
    between(text, -90.0, 20.0)
}

/// RMS of speech.
fn speech(text: &str) -> Result<f64, String> {
    between(text, -60.0, 0.0)
}

/// Decibels of speech over a background.
fn over_noise(text: &str) -> Result<f64, String> {
    between(text, -20.0, 60.0)
}

fn between(text: &str, least: f64, most: f64) -> Result<f64, String> {
    let number = text.trim().replace('−', "-").parse::<f64>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| format!("expected a number from {least} to {most} (dB)"))
}

#[derive(Clone, Debug, ClapArgs)]
pub struct ShowArgs {
    /// Listen to this device (its name, a part of it, or its id from `devices`)
    #[arg(long, value_name = "NAME", conflicts_with_all = ["stage", "seed"])]
    pub device: Option<String>,
    /// A simulated show night: no device needed
    #[arg(long)]
    pub stage: bool,
    /// Which simulated evening: the same number gives the same evening
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
    /// The event folder with event.toml and inputs.csv [else this folder, if it is one]
    #[arg(long, value_name = "FOLDER")]
    pub event: Option<PathBuf>,
    /// The equaliser of the mains
    #[arg(long, value_name = "KIND", default_value = "31")]
    pub eq: EqArg,
    /// The channel of a microphone in the hall: how loud it is there, against the limits of the event
    #[arg(long, value_name = "CHANNEL", requires = "device", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub room_mic: Option<u16>,
    /// Compare that microphone with a real meter: what it shows, LAeq over some seconds of steady noise; then stop
    #[arg(long, value_name = "DBA", requires = "room_mic", value_parser = shown)]
    pub compare: Option<f64>,
    /// Record all channels that may be recorded into this folder while listening
    #[arg(long, value_name = "FOLDER", requires = "device")]
    pub record: Option<PathBuf>,
    /// The last look before doors: 20 s of quiet against the stored soundcheck, then "Ready" or one thing to do
    #[arg(long, conflicts_with_all = ["compare", "room_mic"])]
    pub ready: bool,
    /// What has gone wrong on the simulated stage since, as often as you like, such as dead:3 or hum50:7
    #[arg(long, value_name = "FAULT", value_parser = fault, requires = "ready", conflicts_with = "device")]
    pub fault: Vec<Fault>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = format!("{SHOW_STEP_KEYS}\n\n{READY_KEYS}\n\n{SOUND_KEYS}\n\n{RECORDING_NEWS_KEYS}"))]
    pub json: bool,
}

#[derive(Clone, Debug, ClapArgs)]
pub struct PlanArgs {
    #[command(subcommand)]
    pub what: PlanCommand,
}

#[derive(Clone, Debug, Subcommand)]
pub enum PlanCommand {
    /// Write a worked example: an invented school's concert
    New {
        /// The folder to write it into
        #[arg(value_name = "FOLDER")]
        folder: PathBuf,
    },
    /// Check every wire, every way and what is missing
    Check(PlanFolder),
    /// Every channel from source to ears, every wire, every computation
    Show(PlanFolder),
    /// Write the sheets to print: HTML for A4 and Letter, and CSV
    Print {
        #[command(flatten)]
        of: PlanFolder,
        /// Where to write them [else the folder print within the event]
        #[arg(long, value_name = "FOLDER")]
        out: Option<PathBuf>,
        /// Which paper
        #[arg(long, value_name = "PAPER", default_value = "a4")]
        paper: Paper,
    },
}

#[derive(Clone, Debug, ClapArgs)]
pub struct PlanFolder {
    /// The event folder, with patch.csv beside event.toml and inputs.csv [else this folder]
    #[arg(value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = PLAN_KEYS)]
    pub json: bool,
    /// Feet beside metres, in what is shown and printed; files stay metric
    #[arg(long)]
    pub feet: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Paper {
    A4,
    Letter,
}

#[derive(Clone, Debug, ClapArgs)]
pub struct DevicesArgs {
    /// Lines for other programs: JSON, one object a line
    #[arg(long, long_help = records::DEVICE_KEYS)]
    pub json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Way {
    /// All channels by USB
    Usb,
    /// One feed, one channel at a time
    Feed,
    /// A microphone in the room
    Room,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum MoodArg {
    /// They hold back
    Shy,
    /// As at rehearsal
    Normal,
    /// As on show night: louder
    Show,
}
