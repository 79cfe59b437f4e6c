//! “Why can't I hear it”, before anybody can ask: each switch of the desk that hides a channel, each way by which the
//! audience hears what it must not, loads, counts.
//!
//! The faults are those of any desk's block diagram (common practice). The event they are put into is whole: nothing is
//! found in it, so that whatever a test finds is what it put there.

use beforedoors::view::plan::Outcome;

use super::folder::{Files, VOICE, found, sentences};

fn music(rest: &str) -> String {
    format!("11,Music,playback,line,,laptop,{rest}")
}

/// A click of its own on channel 12, going where `to` and `sends` say.
fn click(to: &str, sends: &str) -> Files {
    Files::whole()
        .input(&format!("12,Click,playback,line,,laptop,{to},{sends},,,,,,click"))
        .wire("2,Click,L,Desk,line 12,stereo split,3,")
}

#[test]
fn nothing_is_found_where_nothing_is_wrong() {
    let plan = Files::whole().plan();
    assert_eq!(found(&plan), [""; 0], "{:?}", plan.checked.unknown);
    assert_eq!(plan.outcome(), Outcome::Fine);
    // A click in the monitor alone is as it should be; so it is on a track of its own.
    let quiet = click("none", "aux 1 pre").plan();
    assert_eq!(found(&quiet), [""; 0]);
    let tracks = click("none", "aux 1 pre").wire("D,Desk,usb,Recorder,usb,usb cable,2,").plan();
    assert_eq!(found(&tracks), [""; 0]);
    // A group that goes to the mains is a way to the hall.
    let grouped = Files::whole().change(",,aux 1 pre", ",group 1,aux 1 pre");
    let grouped = grouped.event("[[bus]]\nname = \"group 1\"\nto_main = true").plan();
    assert_eq!(found(&grouped), [""; 0]);
}

#[test]
fn each_routing_fault_is_found() {
    let voice = |rest: &str| Files::whole().change(VOICE, &format!("1,Voice,speech,mic,no,dynamic mic,{rest}"));
    let one_side = |files: Files| files.change("B,Desk,main R,Right,in,mic cable,10,\n", "");
    let group = |lines: &str| voice("group 1,,,,,,,").event(&format!("[[bus]]\nname = \"group 1\"\n{lines}"));
    let cases: [(&str, Files, &str); 33] = [
        ("muted", voice(",,yes,,,,,"), "never not-heard"),
        ("assigned nowhere", voice("none,,,,,,,"), "never not-heard"),
        ("fader down", voice(",,,,down,,,"), "never not-heard"),
        ("insert half in", voice(",,,,,,half in,"), "never not-heard"),
        ("only in a monitor", voice("none,aux 1 pre,,,,,,"), "never not-heard"),
        ("panned right, mono PA on the left", one_side(voice(",,,R,,,,")), "never not-heard"),
        ("panned left, both sides", voice(",,,L,,,,"), "but one-side-only"),
        ("panned right, both sides", voice(",,,100,,,,"), "but one-side-only"),
        ("solo left on", voice(",,,,,yes,,"), "but solo-on"),
        ("group that goes nowhere", group("to_main = false"), "never not-heard"),
        ("muted group", group("to_main = true\nmute = true"), "never not-heard"),
        ("group that nobody set", voice("group 3,,,,,,,"), "never not-heard"),
        ("mains muted", Files::whole().event("[[bus]]\nname = \"main\"\nmute = true"), "never not-heard"),
        (
            "monitor's master muted",
            Files::whole().event("[[bus]]\nname = \"aux 1\"\nmute = true"),
            "but nothing-feeds-it",
        ),
        ("monitor behind the fader", voice(",aux 1 post,,,,,,"), "but monitor-after-fader"),
        (
            "one monitor by two sends",
            voice(",aux 1 pre + aux 2 pre,,,,,,").wire("D,Desk,aux 2,Wedge,in,mic cable,10,"),
            "but twice-in-one-monitor",
        ),
        ("own aux comes back", Files::whole().wire("D,Desk,aux 1,Desk,line 1,jack cable,2,"), "never loop"),
        (
            "effects into their own send",
            voice(",aux 2 post,,,,,,")
                .input("5,Echo,other,line,,active instrument,,aux 2 post,,,,,,")
                .wire("D,Desk,aux 2,Effects,in,jack cable,2,")
                .wire("E,Effects,,Desk,line 5,jack cable,2,"),
            "never loop",
        ),
        ("click to the mains", click("main", "aux 1 pre"), "never cue-in-the-hall"),
        (
            "click through a group",
            click("group 2", "aux 1 pre").event("[[bus]]\nname = \"group 2\"\nto_main = true"),
            "never cue-in-the-hall",
        ),
        (
            "click by an aux to the hall",
            click("none", "aux 2 pre").change("A,Desk,main L,", "A,Desk,aux 2,"),
            "never cue-in-the-hall",
        ),
        ("click in nobody's ears", click("none", ""), "but cue-unheard"),
        (
            "click in the recording",
            click("group 2", "aux 1 pre").wire("D,Desk,group 2,Recorder,in,jack cable,2,"),
            "never cue-in-the-recording",
        ),
        (
            "click in the stream of the mains",
            click("main", "aux 1 pre").wire("D,Desk,main L,Recorder,in,mic cable,2,"),
            "never cue-in-the-recording",
        ),
        (
            "talkback in the hall",
            Files::whole()
                .input("2,Desk mic,speech,mic,no,dynamic mic,main,aux 1 pre,,,,,,talkback")
                .wire("2,Desk mic,,Desk,mic 2,mic cable,5,"),
            "never cue-in-the-hall",
        ),
        (
            "spoken cue in the hall",
            Files::whole()
                .input("2,Prompt,speech,mic,no,dynamic mic,main,aux 1 pre,,,,,,spoken cue")
                .wire("2,Prompt,,Desk,mic 2,mic cable,5,"),
            "never cue-in-the-hall",
        ),
        (
            "music left and click right, summed",
            Files::whole()
                .input(&music(",,,,,,,"))
                .input("12,Click,playback,line,,laptop,none,aux 1 pre,,,,,,click")
                .wire("2,Music,L,Desk,line 11,stereo split,3,resistor sum")
                .wire("3,Music,R,Desk,line 12,stereo split,3,"),
            "never cue-summed",
        ),
        (
            "a recording that lacks somebody",
            Files::whole()
                .input("2,Reader,speech,mic,no,dynamic mic,,,,,,,,")
                .wire("2,Reader,,Desk,mic 2,mic cable,10,")
                .wire("D,Desk,aux 1,Recorder,in,mic cable,5,"),
            "but recording-lacks",
        ),
        (
            "a channel that the list does not have",
            Files::whole().wire("2,Voice,,Desk,mic 2,mic cable,10,mic splitter"),
            "but not-listed",
        ),
        (
            "a loudspeaker that only passes on",
            Files::whole().change("C,Desk,aux 1,Wedge,in,", "C,Wedge,link,Right,in,"),
            "never nothing-feeds-it",
        ),
        ("two outputs on one input", Files::whole().wire("2,Voice,,Desk,mic 1,mic cable,9,"), "never outputs-fight"),
        ("not plugged", Files::whole().input("3,Second voice,speech,mic,no,dynamic mic,,,,,,,,"), "never not-wired"),
        (
            "one phantom switch for all, a ribbon beside a condenser",
            Files::whole()
                .change("4,each", "4,all together")
                .input("2,Strings,other,mic,yes,condenser mic,,,,,,,,")
                .input("3,Trumpet,brass,mic,no,ribbon mic,,,,,,,,")
                .wire("2,Strings,,Desk,mic 2,mic cable,10,")
                .wire("3,Trumpet,,Desk,mic 3,mic cable,10,"),
            "but phantom-for-all",
        ),
    ];
    let mut faults = Vec::new();
    for (name, files, expected) in &cases {
        let said = found(&files.plan());
        if !said.iter().any(|one| one.ends_with(&format!(": {expected}"))) {
            faults.push(format!("{name}: expected {expected}, found {said:?}"));
        }
    }
    assert!(faults.is_empty(), "{} of {}:\n{}", faults.len(), cases.len(), faults.join("\n"));
}

#[test]
fn what_is_short_is_counted() {
    let many = (2..=5).fold(Files::whole(), |files, n| {
        let files = files.input(&format!("{n},Voice {n},speech,mic,no,dynamic mic,,,,,,,,"));
        files.wire(&format!("{n},Voice {n},,Desk,mic {n},mic cable,10,"))
    });
    let radio = Files::whole()
        .input("2,Host,speech,radio,no,Hand radio,,,,,,,,")
        .wire("2,Host,,Desk,line 2,jack cable,3,")
        .event("show_hours = 2");
    let bass = Files::whole()
        .input("2,Bass,bass,di,no,passive pickup,,,,,,,,")
        .wire("2,Bass,,Desk,mic 2,mic cable,10,passive di");
    let cases = [
        ("microphones", many, "short-of-gear"),
        ("a DI", bass, "short-of-gear"),
        ("channels", Files::whole().wire("2,Voice,,Desk,mic 17,mic cable,10,"), "too-many-channels"),
        ("sends", Files::whole().change(",aux 1 pre,", ",aux 1 pre + aux 6 pre,"), "too-many-auxes"),
        // 2 h of battery for 2 h of show: half as long again is asked.
        ("batteries", radio, "battery-too-short"),
    ];
    for (name, files, code) in cases {
        let said = found(&files.plan());
        assert!(said.iter().any(|one| one.ends_with(code)), "{name}: {said:?}");
    }
}

#[test]
fn leads_are_counted_by_their_length() {
    let mics = Files::whole().change("Mic cable,mic cable,12,20", "Mic cable,mic cable,4,9").plan();
    assert_eq!(sentences(&mics), ["short of 4 × mic cable, one of them 10 m or longer: borrow in time"]);
    let stands = Files::whole().gear("Stand,speaker stand,1").gear("Cells,battery,0").plan();
    assert_eq!(sentences(&stands), ["short of 1 × speaker stand: borrow in time"]);
    let cells = Files::whole()
        .input("2,Host,speech,radio,no,Hand radio,,,,,,,,")
        .wire("2,Host,,Desk,line 2,xlr jack cable,3,")
        .gear("Receiver lead,xlr jack cable,1,3")
        .gear("Cells,battery,0");
    assert_eq!(sentences(&cells.plan()), ["short of 1 × fresh battery set: borrow in time"]);
}

#[test]
fn amplifiers_and_their_loads() {
    let boxes = |count: usize, ohms: &str, watts: &str| {
        let event = Files::whole()
            .change(",aux 1 pre,", ",aux 1 pre + aux 2 pre,")
            .gear(&format!("Amp,amplifier,1,,,,,,,,4,{watts}"))
            .gear(&format!("Box,passive monitor,4,,,,,,,{ohms},,150"))
            .gear("Thick,speaker cable,9,20")
            .wire("D,Desk,aux 2,Amp,in 1,mic cable,5,")
            .wire("E,Amp,speaker 1,Box 1,in,speaker cable,8,");
        let linked = (1..count)
            .fold(event, |event, n| event.wire(&format!("L{n},Box {n},link,Box {},in,speaker cable,4,", n + 1)));
        let plan = linked.plan();
        (found(&plan), sentences(&plan))
    };
    assert_eq!(boxes(1, "8", "200").0, [""; 0]);
    assert_eq!(boxes(2, "8", "400").0, [""; 0]);
    assert_eq!(boxes(3, "8", "500").0, ["Amp: never load-too-low"]);
    assert_eq!(boxes(2, "4", "400").0, ["Amp: never load-too-low"]);
    assert_eq!(boxes(1, "8", "400").0, ["Amp: but amplifier-too-strong"]);
    assert_eq!(boxes(2, "8", "100").0, ["Amp: but amplifier-too-weak"]);
    // 8 ∥ 8 ∥ 8 ∥ 8 = 2 Ω.
    let all = "its loudspeakers together are 2.0 Ω, it bears 4.0 Ω at least: 2 of them at most may hang on it";
    assert_eq!(boxes(4, "8", "600").1, [all]);
}

/// Taps simply add; all of the amplifier is full, 80 % is common practice.
#[test]
fn taps_on_a_line() {
    let with = |watts: u32| {
        let event = Files::whole()
            .gear("Line amp,line amplifier,1,,,,,,,,,100")
            .gear(&format!("Horn,line speaker,2,,,,,,,,,{watts}"))
            .gear("Thick,speaker cable,9,40")
            .wire("D,Desk,main L,Line amp,in 1,mic cable,5,")
            .wire("E,Line amp,speaker 1,Horn 1,in,speaker cable,30,")
            .wire("F,Horn 1,link,Horn 2,in,speaker cable,20,");
        found(&event.plan())
    };
    assert_eq!(with(40), [""; 0]);
    assert_eq!(with(45), ["Line amp: but line-overloaded"]);
    assert_eq!(with(60), ["Line amp: never line-overloaded"]);
}
