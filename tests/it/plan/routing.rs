//! “Why can't I hear it”, before anybody can ask: each switch of the desk that hides a channel, each way by which the
//! audience hears what it must not, counts, and the commands from a new folder to the printed sheets.
//!
//! The faults are those of any desk's block diagram (common practice). The event below is whole: nothing is found in it,
//! so that whatever a test finds is what it put there.

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use beforedoors::plan::verdict::Verdict;
use beforedoors::view::plan::{Outcome, Plan};
use serde_json::Value;

const HEADINGS: &str = "channel,name,kind,connection,phantom,gear,to,sends,mute,pan,fader,solo,insert,cue";
const VOICE: &str = "1,Voice,speech,mic,no,dynamic mic,,aux 1 pre,,,,,,";
const WIRES: &str = "wire,from,out,to,in,cable,length_m,through
1,Voice,,Desk,mic 1,mic cable,10,
A,Desk,main L,Left,in,mic cable,10,
B,Desk,main R,Right,in,mic cable,10,
C,Desk,aux 1,Wedge,in,mic cable,10,
";
const GEAR: &str = "item,kind,count,length_m,mic_inputs,channels,auxes,phantom,battery_h
Desk,desk,1,,12,16,4,each,
Left,active speaker,1,,,,,,
Right,active speaker,1,,,,,,
Wedge,active monitor,1,,,,,,
Recorder,recorder,1,,,,,,
Effects,effects,1,,,,,,
Handheld,dynamic mic,2,,,,,,
Hand radio,radio mic,1,,,,,,2
Ribbon,ribbon mic,1,,,,,,
Studio mic,condenser mic,1,,,,,,
Laptop,laptop,2,,,,,,
Mic cable,mic cable,12,20,,,,,
Jack cable,instrument cable,4,6,,,,,
Split,stereo split,2,3,,,,,
USB cable,usb cable,1,2,,,,,
";

/// An event of files.
struct Files {
    inputs: String,
    wires: String,
    gear: String,
    event: String,
}

impl Files {
    fn whole() -> Self {
        Self {
            inputs: format!("{HEADINGS}\n{VOICE}\n"),
            wires: WIRES.into(),
            gear: GEAR.into(),
            event: "version = 1\nname = \"Assembly\"\n".into(),
        }
    }

    fn input(mut self, line: &str) -> Self {
        self.inputs += &format!("{line}\n");
        self
    }

    fn wire(mut self, line: &str) -> Self {
        self.wires += &format!("{line}\n");
        self
    }

    fn event(mut self, lines: &str) -> Self {
        self.event += &format!("{lines}\n");
        self
    }

    /// What stands once in any of the files, by something else.
    fn change(mut self, old: &str, new: &str) -> Self {
        let files = [&mut self.inputs, &mut self.wires, &mut self.gear, &mut self.event];
        assert_eq!(files.iter().filter(|file| file.contains(old)).count(), 1, "{old}");
        files.into_iter().for_each(|file| *file = file.replace(old, new));
        self
    }

    fn write(&self, folder: &Path) {
        let files = [("inputs.csv", &self.inputs), ("patch.csv", &self.wires), ("gear.csv", &self.gear)];
        for (name, text) in files.into_iter().chain([("event.toml", &self.event)]) {
            fs::write(folder.join(name), text).expect("a file");
        }
    }

    fn plan(&self) -> Plan {
        let folder = tempfile::tempdir().expect("a folder");
        self.write(folder.path());
        Plan::open(folder.path()).unwrap_or_else(|error| panic!("{error}"))
    }
}

/// "never not-heard", the worst first.
fn found(plan: &Plan) -> Vec<String> {
    let word = |weight| if weight == Verdict::Never { "never" } else { "but" };
    plan.checked.findings.iter().map(|one| format!("{} {}", word(one.weight), one.trouble.code())).collect()
}

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
    // A click in the monitor alone is as it should be; so is a source on both sides.
    let quiet = click("none", "aux 1 pre").plan();
    assert_eq!(found(&quiet).iter().filter(|one| one.contains("cue")).count(), 0, "{:?}", found(&quiet));
}

#[test]
fn each_routing_fault_is_found() {
    let voice = |rest: &str| Files::whole().change(VOICE, &format!("1,Voice,speech,mic,no,dynamic mic,{rest}"));
    let one_side = |files: Files| files.change("B,Desk,main R,Right,in,mic cable,10,\n", "");
    let group = |lines: &str| voice("group 1,,,,,,,").event(&format!("[[bus]]\nname = \"group 1\"\n{lines}"));
    let cases: [(&str, Files, &str); 29] = [
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
            "click in the stream",
            click("none", "aux 1 pre").wire("D,Desk,usb,Recorder,usb,usb cable,2,"),
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
        if !said.iter().any(|one| one == expected) {
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

fn run(arguments: &[&str], folder: &Path) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
    program.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env_remove("WAYLAND_SOCKET");
    program.arg("plan").args(arguments).arg(folder).output().expect("a run")
}

fn lines(output: &Output) -> Vec<Value> {
    let text = std::str::from_utf8(&output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect(line)).collect()
}

/// Whoever writes a *never* into `accepted` is told that it stays, and the exit code stays 1.
#[test]
fn a_never_cannot_be_accepted() {
    let accepted = |about: &str, what: &str| {
        format!("[[accepted]]\nabout = \"{about}\"\nwhat = \"{what}\"\nbecause = \"no time\"")
    };
    let folder = tempfile::tempdir().expect("a folder");
    let muted = Files::whole().change(VOICE, &VOICE.replace(",aux 1 pre,,", ",aux 1 pre,yes,"));
    muted.event(&accepted("channel 1", "not-heard")).write(folder.path());
    let output = run(&["check", "--json"], folder.path());
    assert_eq!(output.status.code(), Some(1));
    let said = lines(&output);
    let never = said.iter().find(|line| line["what"] == "not-heard").expect("the finding");
    assert_eq!((&never["accepted"], &never["verdict"]), (&Value::Null, &Value::from("never")));
    assert_eq!(said.iter().filter(|line| line["type"] == "refused").count(), 1, "{said:?}");
    // A *works, but* may be; then nothing is open.
    let solo = Files::whole().change(VOICE, &VOICE.replace(",,,,,,", ",,,,yes,,"));
    let because = accepted("channel 1", "solo-on");
    solo.event(&because).write(folder.path());
    let output = run(&["check", "--json"], folder.path());
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(lines(&output).iter().any(|line| line["what"] == "solo-on" && line["accepted"] == "no time"));
    // What accepts nothing is told as well.
    Files::whole().event(&accepted("wire 99", "too-hot")).write(folder.path());
    assert_eq!(run(&["check"], folder.path()).status.code(), Some(1));
}

/// `new`, `check`, `show`, `print`, with their exit codes and the keys of every line.
#[test]
fn from_a_new_folder_to_the_sheets() {
    let above = tempfile::tempdir().expect("a folder");
    let folder = above.path().join("winter");
    assert_eq!(run(&["new"], &folder).status.code(), Some(0));
    assert_eq!(run(&["new"], &folder).status.code(), Some(3), "nothing is written over what is there");
    let check = run(&["check", "--json"], &folder);
    assert_eq!(check.status.code(), Some(1));
    let kinds = |output: &Output| {
        let keys: std::collections::BTreeSet<String> = lines(output)
            .iter()
            .map(|line| {
                let mut keys: Vec<&str> = line.as_object().expect("an object").keys().map(String::as_str).collect();
                keys.sort_unstable();
                format!("{}: {}", line["type"].as_str().expect("a type"), keys.join(" "))
            })
            .collect();
        keys.into_iter().collect::<Vec<_>>()
    };
    let finding = "finding: about accepted fix sentence subject type verdict what";
    let plan = "plan: channels name never sentence type wires works_but";
    assert_eq!(kinds(&check), ["caution: sentence type", finding, plan]);
    let show = kinds(&run(&["show", "--json"], &folder));
    for line in [
        "channel: channel sentence type",
        "seat: level_db needed_db seat type",
        "sum: about result sentence type",
        "wire: from label lead remarks to type verdict",
    ] {
        assert!(show.iter().any(|kind| kind == line), "{line} is not among {show:?}");
    }
    let print = run(&["print", "--json", "--paper", "letter"], &folder);
    assert_eq!(print.status.code(), Some(1));
    let written = lines(&print);
    assert!(written.len() >= 16, "{written:?}");
    for line in &written {
        let path = Path::new(line["path"].as_str().expect("a path"));
        assert!(fs::metadata(path).is_ok_and(|file| file.len() > 0), "{line}");
    }
    let nowhere = run(&["check"], &above.path().join("nowhere"));
    assert_eq!(nowhere.status.code(), Some(3));
    assert!(!nowhere.stderr.is_empty());
    // Inputs, and nothing plugged: nothing can be told.
    fs::remove_file(folder.join("patch.csv")).expect("removed");
    fs::write(folder.join("event.toml"), "version = 1\nname = \"Bare\"\n").expect("a file");
    fs::write(folder.join("inputs.csv"), "channel,name,kind\n1,Voice,speech\n").expect("a file");
    assert_eq!(run(&["check"], &folder).status.code(), Some(2));
}
