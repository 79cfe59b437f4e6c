//! The plan in the window: the worked example's faults, one after the other; files mended on disk; a rig of 48 inputs.

use std::fs;
use std::path::Path;
use std::time::Duration;

use beforedoors::engine::Mood;
use beforedoors::event::Event;
use beforedoors::event::rig;
use beforedoors::gui::{App, Look};
use beforedoors::view::Setup;
use beforedoors::view::plan::CAUTIONS;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::painter::Painter;
use super::{Rehearsal, opener, world};

/// On an event, or on none; what is made lies in `made`.
pub fn window(event: Option<&Path>, made: &Path, look: Look, (width, height): (f32, f32)) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    let setup = event.map_or_else(Setup::default, |folder| Setup::of(Event::open(folder).unwrap().0));
    let (world, made) = (world(opener(&playing)), made.join("example"));
    Harness::builder().with_size(vec2(width, height)).renderer(Painter::default()).build_eframe(|context| {
        App::new(&context.egui_ctx, setup, look, world)
            .with_printer(beforedoors::report::files)
            .with_example_folder(made)
    })
}

fn press(harness: &mut Harness<App>, key: Key) {
    harness.key_press(key);
    harness.step();
    harness.step();
}

fn said(harness: &Harness<App>) -> String {
    harness.get_by_label_contains("Next step").value().unwrap_or_default()
}

fn wait_until(harness: &mut Harness<App>, words: &str) {
    for _ in 0..600 {
        harness.step();
        if said(harness).contains(words) {
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    panic!("never said: {words}; but: {}", said(harness));
}

fn mend(file: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(file).unwrap();
    assert!(text.contains(from), "{from}");
    fs::write(file, text.replace(from, to)).unwrap();
}

const USUAL: (f32, f32) = (1280.0, 800.0);

#[test]
fn the_example_is_made_its_never_named_and_mended_on_disk() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(None, folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    assert!(said(&harness).contains("No event is open"), "{}", said(&harness));
    press(&mut harness, Key::X);
    let event = folder.path().join("example");
    assert!(event.join("patch.csv").is_file());
    // The worst is first: sentence, cure and reason are those of the terminal's check.
    let told = said(&harness);
    for words in [
        "Never: Wire 11, Laptop → Hall desk mic 11",
        "Left and right on one plug into one input: they cancel",
        "→ Take a stereo split (you have: Laptop lead): one plug into line 11, the other into a second input",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    // The verdict stands on the wire, in a word; what belongs to it is not left out.
    harness.get_by_label_contains("Wire 11, Laptop → Hall desk mic 11: never. Left and right");
    harness.get_by_label_contains("Loudspeakers stay OFF while anything is plugged");
    harness.get_by_label_contains("2 “never”");
    // Its numbers, all other cures and every caution are one key away.
    press(&mut harness, Key::W);
    harness.get_by_label_contains("11 Laptop: headroom −5 dB = clip − the lesser of (level + crest + show lift) and the most it gives; clip −2 dBu");
    for caution in CAUTIONS {
        assert!(harness.query_all_by_label(caution.words()).count() > 0, "{caution:?}");
    }
    press(&mut harness, Key::W);
    // Mended on disk: the step changes by itself.
    mend(
        &event.join("patch.csv"),
        "11,Laptop,,Hall desk,mic 11,,3,,",
        "11,Laptop,L,Hall desk,line 11,stereo split,3,,",
    );
    wait_until(&mut harness, "Works, but: 1 Lectern: about 1.8 dB short before it rings");
    assert_eq!(harness.query_all_by_label_contains("“never”").count(), 0);
}

#[test]
fn all_that_was_found_is_walked_by_keys_and_a_wire_is_picked() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    rig::write_example(&event).unwrap();
    let mut harness = window(Some(&event), folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    let mut told = vec![said(&harness)];
    loop {
        press(&mut harness, Key::ArrowDown);
        if told.last() == Some(&said(&harness)) {
            break;
        }
        told.push(said(&harness));
        // Nothing that is walked to makes the worst go away.
        harness.get_by_label_contains("2 “never”");
    }
    let of = |words: &str| told.iter().filter(|told| told.contains(words)).count();
    assert_eq!((of("Never: "), of("Works, but: ")), (2, 8), "{told:#?}");
    assert_eq!(of("accepted: it stayed quiet at last year's concert"), 1);
    harness.get_by_label("10 of 10");
    press(&mut harness, Key::ArrowUp);
    harness.get_by_label("9 of 10");
    // A wire that fits says so too, with its note.
    for _ in 0..12 {
        press(&mut harness, Key::PageUp);
    }
    harness.get_by_label_contains("Wire 3, Choir left → Hall desk mic 3: fits").click();
    harness.step();
    harness.step();
    let told = said(&harness);
    assert!(told.contains("Fits: Wire 3, Choir left") && told.contains("Switch +48 V on"), "{told}");
    press(&mut harness, Key::ArrowDown);
    assert!(said(&harness).contains("Never: Wire 11"), "{}", said(&harness));
}

/// An accepted *never* stays one, and it is said.
#[test]
fn a_never_cannot_be_accepted() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    rig::write_example(&event).unwrap();
    let settings = fs::read_to_string(event.join("event.toml")).unwrap();
    let accepted = "[[accepted]]\nabout = \"wire 11\"\nwhat = \"subtracts-stereo\"\nbecause = \"it was fine\"\n";
    fs::write(event.join("event.toml"), format!("{settings}\n{accepted}")).unwrap();
    let mut harness = window(Some(&event), folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    assert!(said(&harness).contains("Never: Wire 11"), "{}", said(&harness));
    harness.get_by_label_contains("2 “never”");
    for _ in 0..12 {
        press(&mut harness, Key::ArrowDown);
    }
    assert!(said(&harness).contains("a “never” stays one: it cannot be accepted"), "{}", said(&harness));
}

#[test]
fn sheets_are_printed_into_the_events_folder_and_it_says_where() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    rig::write_example(&event).unwrap();
    let mut harness = window(Some(&event), folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    harness.get_by_label("Print on A4  P").click();
    harness.step();
    harness.step();
    harness.get_by_label_contains("concert/print. Open all.html there");
    let plan = beforedoors::view::plan::Plan::open(&event).unwrap();
    for (name, text) in beforedoors::report::files(&plan, false) {
        assert_eq!(fs::read_to_string(event.join("print").join(&name)).unwrap(), text, "{name}");
    }
    press(&mut harness, Key::L);
    let letter = beforedoors::report::files(&plan, true);
    let (name, text) = letter.first().unwrap();
    assert_eq!(&fs::read_to_string(event.join("print").join(name)).unwrap(), text);
}

#[test]
fn no_patch_and_broken_files_are_one_sentence_and_the_way_on() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    rig::write_example(&event).unwrap();
    let patch = fs::read_to_string(event.join("patch.csv")).unwrap();
    fs::remove_file(event.join("patch.csv")).unwrap();
    let mut harness = window(Some(&event), folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    let told = said(&harness);
    assert!(told.contains("has no patch.csv") && told.contains("wire,from,out,to,in,cable,length_m"), "{told}");
    fs::write(event.join("patch.csv"), patch.replace("1,Lectern,,Hall desk,mic 1,", "1,Lectern,,Hall desk,mouth 1,"))
        .unwrap();
    wait_until(&mut harness, "patch.csv:2");
    fs::write(event.join("patch.csv"), &patch).unwrap();
    press(&mut harness, Key::R);
    assert!(said(&harness).contains("Never: Wire 11"), "{}", said(&harness));
}

/// 48 inputs: the worked example's desk with more of the same.
fn large_event(event: &Path) {
    rig::write_example(event).unwrap();
    let (mut inputs, mut patch) =
        ("channel,name,kind,connection,phantom,gear\n".to_owned(), "wire,from,out,to,in,cable,length_m\n".to_owned());
    for channel in 1..=48 {
        inputs.push_str(&format!("{channel},Voice {channel},choir,mic,no,dynamic mic\n"));
        patch.push_str(&format!("{channel},Voice {channel},,Hall desk,mic {channel},mic cable,20\n"));
    }
    patch.push_str("A,Hall desk,main L,Main left,in,mic cable,15\nB,Hall desk,main R,Main right,in,mic cable,15\n");
    fs::write(event.join("inputs.csv"), inputs).unwrap();
    fs::write(event.join("patch.csv"), patch).unwrap();
    mend(&event.join("event.toml"), "[[accepted]]\nabout = \"wire 9\"", "[[accepted]]\nabout = \"wire 90\"");
}

#[test]
fn forty_eight_inputs_scroll_and_only_what_is_seen_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    large_event(&event);
    let mut harness = window(Some(&event), folder.path(), Look::default(), USUAL);
    press(&mut harness, Key::F1);
    let drawn = |harness: &Harness<App>, number: u32| {
        harness.query_all_by_label_contains(&format!("Wire {number}, Voice {number} →")).count() > 0
    };
    for _ in 0..30 {
        press(&mut harness, Key::PageUp);
    }
    assert!(drawn(&harness, 1) && !drawn(&harness, 48));
    let all = (1..=48).filter(|number| drawn(&harness, *number)).count();
    assert!((3..=9).contains(&all), "{all} wires are drawn");
    // The loudspeakers stay in sight.
    harness.get_by_label_contains("Wire A, Hall desk main L → Main left in: fits");
    let mut seen = 1;
    for _ in 0..30 {
        press(&mut harness, Key::PageDown);
        seen = (seen..=48).rev().find(|number| drawn(&harness, *number)).unwrap_or(seen);
        harness.get_by_label_contains("Wire A, Hall desk main L → Main left in: fits");
    }
    assert_eq!(seen, 48);
    assert!(!drawn(&harness, 1));
    // Targets.
    let lane = harness.get_by_label_contains("Wire 48, Voice 48 →").rect();
    assert!(lane.height() >= 55.9 && lane.width() >= 55.9, "{lane:?}");
}
