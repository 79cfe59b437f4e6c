//! An engine that is fed as a device's callback would: samples that are no numbers, and counting on.

use std::time::{Duration, Instant};

use beforedoors::block::Format;
use beforedoors::detectors::Evidence;
use beforedoors::engine::Connection;
use beforedoors::engine::Snapshot;
use beforedoors::engine::session::{Link, Session, Status};
use beforedoors::units::{Dbfs, SampleRate};
use beforedoors::view::{finding_advice, finding_words};

const CALLBACK: usize = 480;

fn format() -> Format {
    Format { rate: SampleRate::new(48_000).expect("a rate"), channels: 2 }
}

fn until(session: &Session, done: impl Fn(&Snapshot) -> bool) -> Snapshot {
    let begun = Instant::now();
    loop {
        let snapshot = session.snapshot();
        if done(&snapshot) {
            return snapshot;
        }
        assert!(begun.elapsed() < Duration::from_secs(30), "never at {:?}", snapshot.at);
        std::thread::sleep(Duration::from_millis(1));
    }
}

/// Each callback's frames are in the picture without another callback's help.
#[test]
fn the_picture_counts_every_callback() {
    let (mut intake, session) = Session::fed(format(), None, Connection::Usb, None).expect("a thread");
    for callback in 1..=50 {
        intake.take(&[0.25_f32; 2 * CALLBACK]);
        let snapshot = until(&session, |snapshot| snapshot.readings.at.get() >= callback * CALLBACK as u64);
        assert_eq!(snapshot.readings.at.get(), callback * CALLBACK as u64);
    }
    assert_eq!(session.status(), Status::Running);
}

/// A driver that gives NaN and ∞: counted, told in words, and nothing that is shown is no number.
#[test]
fn what_is_no_number_is_a_finding_in_words() {
    let (mut intake, session) = Session::fed(format(), None, Connection::Usb, None).expect("a thread");
    let mut data = [0.1_f32; 2 * CALLBACK];
    (data[0], data[2], data[40]) = (f32::NAN, f32::INFINITY, f32::NEG_INFINITY);
    for _ in 0..200 {
        intake.take(&data);
    }
    let frames = 200 * CALLBACK as u64;
    let snapshot = until(&session, |snapshot| snapshot.readings.at.get() >= frames);
    let [first, second] = [0, 1].map(|line| snapshot.readings.channels[line].whole);
    assert_eq!((first.invalid_samples, second.invalid_samples), (600, 0));
    assert!((first.sample_peak.get() - Dbfs::from_amplitude(0.1).get()).abs() < 1e-4, "{:?}", first.sample_peak);
    let told = snapshot.findings.iter().find(|finding| matches!(finding.evidence, Evidence::Invalid { .. }));
    let told = told.expect("a finding");
    let (words, advice) = (finding_words(told), finding_advice(&told.evidence));
    assert!(words.contains("no number"), "{words}");
    assert!(advice.contains("device"), "{advice}");
}
