//! Wires in the wrong channel, and channels with two wires: the commonest faults of a night, found before it.
//!
//! Whoever mutes channel 7 must mute what the list calls 7 (common practice of any input list).

use std::fs;

use beforedoors::event::rig::FILES;
use beforedoors::view::plan::{Outcome, headline};

use super::folder::{Files, VOICE, example_with, found, mistakes, plan, sentences};

fn example(name: &str) -> &'static str {
    FILES.iter().find(|(own, _)| *own == name).expect("a file").1
}

/// The example with some words of a file changed.
fn changed(name: &str, changes: &[(&str, &str)]) -> tempfile::TempDir {
    let text = changes.iter().fold(example(name).to_owned(), |text, (old, new)| {
        assert_eq!(text.matches(old).count(), 1, "{old}");
        text.replace(old, new)
    });
    example_with(&[(name, &text)])
}

#[test]
fn two_wires_that_changed_places_are_named_with_the_socket_of_each() {
    let folder = changed("patch.csv", &[("mic 7,", "mic 77,"), ("mic 10,", "mic 7,"), ("mic 77,", "mic 10,")]);
    let plan = plan(folder.path());
    let found = found(&plan);
    for wire in ["wire 7: never wrong-channel", "wire 10: never wrong-channel"] {
        assert!(found.contains(&wire.to_owned()), "{found:?}");
    }
    let said = sentences(&plan);
    assert!(
        said.contains(
            &"the input list says 7 Bass, and this wire ends in channel 10: change the wire or the list".to_owned()
        ),
        "{said:?}"
    );
    let cures: Vec<String> = plan
        .checked
        .findings
        .iter()
        .filter(|finding| finding.trouble.code() == "wrong-channel")
        .flat_map(|finding| finding.cures.iter().map(|cure| beforedoors::view::plan::cure(&plan.rig, cure)))
        .collect();
    assert_eq!(cures, ["Plug it into mic 7", "Plug it into mic 10"]);
    // Nothing else is said of the same mistake.
    assert!(!found.iter().any(|one| one.ends_with("not-wired")), "{found:?}");
}

#[test]
fn two_sources_on_one_channel_by_two_sockets() {
    let second = |to: &str| {
        Files::whole()
            .input("2,Second,speech,mic,no,dynamic mic,,,,,,,,")
            .wire(&format!("2,Second,,Desk,{to},mic cable,10,"))
    };
    let on_one = found(&second("line 1").plan());
    assert!(on_one.contains(&"wire 2: never channel-taken".to_owned()), "{on_one:?}");
    assert!(on_one.contains(&"wire 2: never wrong-channel".to_owned()), "{on_one:?}");
    assert_eq!(found(&second("mic 2").plan()), [""; 0]);
    // Both sides of a stereo input are one channel, and made for two wires.
    let keys = |left: &str, right: &str| {
        Files::whole()
            .input("2,Keys left,keys,line,no,stereo keys,,,,,,,,")
            .input("3,Keys right,keys,line,no,stereo keys,,,,,,,,")
            .wire(&format!("2,Keys left,L,Desk,{left},jack cable,3,"))
            .wire(&format!("3,Keys left,R,Desk,{right},jack cable,3,"))
    };
    assert_eq!(found(&keys("line 2", "line 3").plan()), [""; 0]);
    let crossed = found(&keys("line 3", "line 2").plan());
    assert_eq!(crossed, ["wire 2: but side-crossed", "wire 3: but side-crossed"]);
    let stereo = Files::whole()
        .input("9,Keys,keys,line,no,stereo keys,,,,,,,,")
        .wire("2,Keys,L,Desk,stereo 9 L,jack cable,3,")
        .wire("3,Keys,R,Desk,stereo 9 R,jack cable,3,");
    assert_eq!(found(&stereo.plan()), [""; 0]);
}

#[test]
fn a_channel_that_somebody_else_is_plugged_into() {
    let folder = changed("patch.csv", &[("10,Sax,,Hall desk", "10,Lectern,,Hall desk")]);
    let found_of = |folder: &tempfile::TempDir| found(&plan(folder.path()));
    let lectern = found_of(&folder);
    assert!(lectern.contains(&"wire 10: never wrong-source".to_owned()), "{lectern:?}");
    // The right half of a laptop may be the click's; the left half's missing wire is told where it is missing.
    let half = found_of(&changed("patch.csv", &[("11,Laptop,,Hall desk,mic 11,,3,,\n", "")]));
    assert!(half.contains(&"channel 11: never not-wired".to_owned()), "{half:?}");
    assert!(!half.iter().any(|one| one.starts_with("wire 12:")), "{half:?}");
    let keys = found_of(&changed("patch.csv", &[("8,Keys,L,Hall desk,mic 8,mic cable,20,passive di,\n", "")]));
    assert!(keys.contains(&"channel 8: never not-wired".to_owned()), "{keys:?}");
    assert!(!keys.iter().any(|one| one == "wire 9: never wrong-channel"), "{keys:?}");
}

/// Past the desk no fader holds a cue back.
#[test]
fn a_cue_that_passes_its_channel_is_caught() {
    let talkback = |wire: &str| {
        let files = Files::whole().input("2,Talkback,speech,mic,no,dynamic mic,none,aux 1 pre,,,,,,talkback");
        found(&files.wire(wire).plan())
    };
    assert_eq!(talkback("2,Talkback,,Desk,mic 2,mic cable,10,"), [""; 0]);
    let straight = talkback("2,Talkback,,Right,in,mic cable,10,");
    assert!(straight.contains(&"channel 2: never cue-in-the-hall".to_owned()), "{straight:?}");
    // A recording need not have what nobody must hear.
    let taped = Files::whole()
        .input("2,Talkback,speech,mic,no,dynamic mic,none,aux 1 pre,,,,,,talkback")
        .wire("2,Talkback,,Desk,mic 2,mic cable,10,")
        .wire("D,Desk,main L,Recorder,in 1,mic cable,5,");
    assert_eq!(found(&taped.plan()), [""; 0]);
}

#[test]
fn a_hall_loudspeaker_behind_an_aux_gives_only_what_is_sent_there() {
    let files = Files::whole()
        .input("2,Second,speech,mic,no,dynamic mic,,,,,,,,")
        .wire("2,Second,,Desk,mic 2,mic cable,10,")
        .change("B,Desk,main R,Right,in", "B,Desk,aux 1,Right,in")
        .change("C,Desk,aux 1,Wedge,in", "C,Desk,aux 2,Wedge,in")
        .change(VOICE, "1,Voice,speech,mic,no,dynamic mic,,aux 1 pre + aux 2 pre,,,,,,");
    assert_eq!(found(&files.plan()), ["Right: but speaker-lacks"]);
}

#[test]
fn an_insert_lead_to_an_effect_and_back_is_right() {
    let insert = |back: &str| {
        let files =
            Files::whole().gear("Insert lead,insert cable,2,3").wire("S,Desk,insert 1,Effects,in,insert cable,2,");
        found(&files.wire(back).plan())
    };
    assert_eq!(insert("T,Effects,,Desk,insert 1,insert cable,2,"), [""; 0]);
    let wrong = insert("T,Effects,,Desk,insert 2,insert cable,2,");
    assert!(wrong.iter().any(|one| one.starts_with("wire S: ")), "{wrong:?}");
}

#[test]
fn cures_do_no_harm() {
    let cures = |files: &Files, code: &str| -> Vec<String> {
        let plan = files.plan();
        let of = plan.checked.findings.iter().filter(|finding| finding.trouble.code() == code);
        of.flat_map(|finding| finding.cures.iter().map(|cure| beforedoors::view::plan::cure(&plan.rig, cure))).collect()
    };
    let amplified = Files::whole()
        .gear("Amp,amplifier,1,,,,,,,,4,150")
        .gear("Box,passive monitor,1,,,,,,,8,,150")
        .gear("Thick,speaker cable,2,20")
        .wire("D,Desk,aux 1,Amp,in 1,mic cable,5,");
    let line = |end: &str| format!("E,Amp,speaker 1,{end}");
    let back = amplified.wire(&line("Desk,line 4,speaker cable,5,"));
    assert_eq!(cures(&back, "speaker-level"), ["Take this wire out"]);
    // One switch gives +48 V to all: it can't be thrown for one.
    let together = Files::whole()
        .change("4,each", "4,all together")
        .input("2,Strings,other,mic,yes,condenser mic,,,,,,,,")
        .input("3,Trumpet,brass,mic,no,ribbon mic,,,,,,,,")
        .wire("2,Strings,,Desk,mic 2,mic cable,10,")
        .wire("3,Trumpet,,Desk,mic 3,mic cable,10,");
    let said = cures(&together, "phantom-harms");
    assert!(!said.iter().any(|cure| cure.contains("OFF for this input")), "{said:?}");
}

/// One lead carries every channel both ways, and an effect that comes back is no second copy of a voice.
#[test]
fn data_and_effects_are_no_loops_and_no_copies() {
    let by_usb = Files::whole()
        .input("2,Music,playback,line,,laptop,,,,,,,,")
        .input("3,Music right,playback,line,,laptop,,,,,,,,")
        .wire("2,Music,usb,Desk,usb,usb cable,2,")
        .wire("D,Desk,usb,Music,usb,usb cable,2,");
    assert_eq!(found(&by_usb.plan()), [""; 0]);
    let reverb = |to: &str| {
        Files::whole()
            .change(VOICE, &format!("1,Voice,speech,mic,no,dynamic mic,{to},aux 1 pre + aux 2 post,,,,,,"))
            .input("5,Echo,other,line,no,,,aux 1 pre,,,,,,")
            .gear("Balanced,balanced jack cable,4,20")
            .wire("D,Desk,aux 2,Effects,in 1,balanced jack cable,2,")
            .wire("E,Effects,,Desk,line 5,balanced jack cable,2,")
    };
    assert_eq!(found(&reverb("").plan()), [""; 0]);
    // Its echo alone is not the voice.
    let dry = found(&reverb("none").plan());
    assert!(dry.contains(&"channel 1: never not-heard".to_owned()), "{dry:?}");
}

#[test]
fn a_pair_of_microphones_and_a_stereo_channel_on_one_side() {
    let pair = Files::whole()
        .input("2,Choir left,choir,mic,yes,condenser mic,,,,L,,,,")
        .input("3,Choir right,choir,mic,yes,condenser mic,,,,R,,,,")
        .gear("Pair,condenser mic,2")
        .wire("2,Choir left,,Desk,mic 2,mic cable,10,")
        .wire("3,Choir right,,Desk,mic 3,mic cable,10,");
    assert_eq!(found(&pair.plan()), [""; 0]);
    let one_side = Files::whole()
        .input("9,Keys,keys,line,no,stereo keys,,,,,,,,")
        .wire("2,Keys,L,Desk,stereo 9 L,jack cable,3,")
        .wire("3,Keys,R,Desk,stereo 9 R,jack cable,3,")
        .change("B,Desk,main R,Right,in,mic cable,10,\n", "");
    assert_eq!(found(&one_side.plan()), ["channel 9: but right-half-lost"]);
}

#[test]
fn what_has_no_mains_lead_among_others_that_have() {
    let folder = changed("patch.csv", &[("P2,left wall,,Band amplifier,,mains cable,5,,\n", "")]);
    let found = found(&plan(folder.path()));
    assert!(found.contains(&"Band amplifier: never no-power".to_owned()), "{found:?}");
}

#[test]
fn a_cure_never_sends_into_a_socket_that_is_taken() {
    // The piano's lead ends at the line socket of the right choir microphone's channel.
    let folder = changed("patch.csv", &[("5,Piano,,Hall desk,mic 5,", "5,Piano,,Hall desk,line 4,")]);
    let plan = plan(folder.path());
    for finding in plan.checked.findings.iter().filter(|finding| finding.trouble.code() != "gain-short") {
        for cure in &finding.cures {
            let words = beforedoors::view::plan::cure(&plan.rig, cure);
            assert!(!words.contains("mic 4"), "{words}");
        }
    }
}

/// A loudspeaker whose lead is missing stays silent, and so does all that is linked from it.
#[test]
fn what_hangs_behind_a_missing_wire_is_as_silent_as_what_lost_it() {
    let folder = changed("patch.csv", &[("E,Band amplifier,speaker 1,Band wedge 1,in,speaker cable,8,,\n", "")]);
    let found = found(&plan(folder.path()));
    for wedge in ["Band wedge 1: never nothing-feeds-it", "Band wedge 2: never nothing-feeds-it"] {
        assert!(found.contains(&wedge.to_owned()), "{found:?}");
    }
}

#[test]
fn without_wires_nothing_can_be_told_and_nothing_is_taken_back() {
    let folder = example_with(&[]);
    fs::remove_file(folder.path().join("patch.csv")).expect("removed");
    // Shortages of stands are still counted; here there are enough.
    let plan = plan(folder.path());
    assert_eq!(plan.outcome(), Outcome::CannotTell, "{:?}", found(&plan));
    assert!(plan.checked.refused.is_empty(), "{:?}", plan.checked.refused);
    assert!(headline(&plan).contains("can’t tell yet"), "{}", headline(&plan));
}

#[test]
fn words_that_are_not_known_are_told_of_wherever_they_stand() {
    let warned = |folder: &tempfile::TempDir| plan(folder.path()).warnings.join("\n");
    let misspelt = changed("venue.toml", &[("thing = \"Main left\"", "thing = \"Main lift\"")]);
    let told = mistakes(misspelt.path());
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("“Main lift” is not a thing of this event"), "{told:?}");
    assert!(told[0].contains("Did you mean “Main left”?"), "{told:?}");
    // A hall may know of things that stay in the cupboard tonight.
    let spare = format!("{}\n[[place]]\nthing = \"Balcony box\"\nx_m = 0\ny_m = -9\n", example("venue.toml"));
    let spare = example_with(&[("venue.toml", &spare)]);
    assert!(warned(&spare).contains("“Balcony box” is no thing of this event, so its place is not used"));
    let heading = changed("inputs.csv", &[("cue,distance_m", "cue,fantom_supply")]);
    assert!(warned(&heading).contains("“fantom_supply” is not known here"), "{}", warned(&heading));
    let key = changed("venue.toml", &[("celsius = 20", "temperature_c = 20")]);
    assert!(warned(&key).contains("“temperature_c” is not known here"), "{}", warned(&key));
    let aux = found(&plan(changed("event.toml", &[("name = \"aux 2\"", "name = \"aux 22\"")]).path()));
    assert!(aux.contains(&"Hall desk: never too-many-auxes".to_owned()), "{aux:?}");
}

#[test]
fn feet_are_answered_in_metres() {
    let folder = changed("patch.csv", &[("mic 1,mic cable,20", "mic 1,mic cable,80 ft")]);
    let told = mistakes(folder.path());
    assert_eq!(told.len(), 1);
    assert!(told[0].contains("“80 ft” is not a number in range. Did you mean “24.4”? Expected"), "{told:?}");
}

/// One file that is not whole would else be told of once a line of the others.
#[test]
fn one_cause_is_told_once() {
    let folder = example_with(&[]);
    fs::remove_file(folder.path().join("gear.csv")).expect("removed");
    let told = mistakes(folder.path());
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("there is no gear.csv, so nobody knows what “Hall desk” is"), "{told:?}");
    // The hall's notes may be missing: its circuits are what the mains leads begin at.
    let folder = example_with(&[]);
    fs::remove_file(folder.path().join("venue.toml")).expect("removed");
    assert_eq!(found(&plan(folder.path())).iter().filter(|one| one.contains("never")).count(), 2);
    let kind = changed("gear.csv", &[("Band wedge,passive monitor", "Band wedge,pasive monitr")]);
    let told = mistakes(kind.path());
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("is not a kind of gear. Did you mean “passive monitor”? Expected one of"), "{told:?}");
    let latin = example_with(&[]);
    let mut bytes = fs::read(latin.path().join("inputs.csv")).expect("read");
    let at = bytes.iter().rposition(|byte| *byte == b'a').expect("a letter");
    bytes[at] = 0xE9;
    fs::write(latin.path().join("inputs.csv"), bytes).expect("written");
    let told = mistakes(latin.path());
    assert!(told.len() == 1 && told[0].contains("which is not UTF-8 text"), "{told:?}");
}
