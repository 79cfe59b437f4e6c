//! The integration tests, one binary; each module is a subject.

/// The terminal: words, lines, codes, the screen.
mod cli;
/// Hours of a simulated show: incidents, alerts, memory.
mod evening;
/// The event folder: reading, exact errors, saving.
mod event;
/// Recordings: every width and container, bad input, damage.
mod files;
/// Readings, findings and advice of every fixture, as one text.
mod golden;
/// The house: who may name whom, and what stands where.
mod house;
/// The line check on the simulated stage: swaps, hum, +48, pairs, loudspeakers; words, the terminal.
mod linecheck;
/// Live input and the tone: conversion, the ring, virtual devices.
mod live;
/// The meters: standards, references, second opinions, promises.
mod meters;
/// The rig before it is carried in: verdicts, routing, computations, files, prints.
mod plan;
/// The quiet sweep's steps, on the simulated stage and on devices that fail.
mod quiet;
/// The README: its commands, and the first run that it shows against the program.
mod readme;
/// The last look before doors: stored soundchecks, simulated stages, the terminal, words.
mod ready;
/// Recording while listening, the log, the folder that carries the program.
mod recording;
/// Rings: found in loops with known truth, not found in notes; bad input; the published features beside them.
mod ringing;
/// The ring-out's coach on a toy hall: whole evenings, ends, reaction times.
mod ringout;
/// The same samples, the same snapshot: ring, file, engine's thread.
mod same;
/// What seats hear: the simulated stage against its truth, refusals, the terminal.
mod seats;
/// A second loudspeaker's delay, measured now.
mod second;
/// The level in the room: weightings, bursts, bands, promises, calibration, dose, advice.
mod sound;
/// The soundcheck on the simulated stage.
mod soundcheck;
/// The simulated stage keeps its promises.
mod stage;
/// Sweeps on the simulated stage: margin, rings, cuts, clocks, delays, the safe way.
mod sweep;
/// Takes: dropouts, crackle, hum, ruffled tops, sameness, polarity, drift, files that lie.
mod takes;
/// One feed, or a room microphone: whole evenings.
mod ways;
mod window;

#[path = "../support/mod.rs"]
mod support;

/// Lets a test forbid allocation on its own thread.
#[global_allocator]
static ALLOCATOR: assert_no_alloc::AllocDisabler = assert_no_alloc::AllocDisabler;
