//! Rigs that a school puts together in a hurry, each with one thing wrong that no table of pairs holds: what is said, and
//! what would mend it from what is in the cupboard.
//!
//! Each was read as a person of the trade would (common practice; phantom power IEC 61938, the record's curve IEC 60098):
//! is it true, is the cure physically right. `→` begins a cure, the best first.

use beforedoors::view::plan::cure;

use super::folder::{Files, VOICE, found};

/// A line source on channel 2.
fn with(gear: &str, kind: &str, wire: &str) -> Files {
    kit().input(&format!("2,Source,{kind},line,no,{gear},,,,,,,,")).wire(&format!("2,Source,{wire}"))
}

/// With the boxes that a school has.
fn kit() -> Files {
    Files::whole()
        .gear("DI box,passive di,2")
        .gear("Battery DI,battery di,1")
        .gear("Thick,speaker cable,9,20")
        .gear("Balanced,balanced jack cable,4,20")
        .gear("Red and white,rca cable,4,20")
}

/// An amplifier on aux 2.
fn amplified(amp: &str) -> Files {
    kit()
        .change(",aux 1 pre,", ",aux 1 pre + aux 2 pre,")
        .gear(&format!("Amp,amplifier,1,,,,,,,{amp}"))
        .gear("Box,passive monitor,2,,,,,,,8,,150")
        .wire("D,Desk,aux 2,Amp,in 1,mic cable,5,")
}

/// What is found, each followed by its cures; what is short of gear is no matter here.
fn said(files: &Files) -> Vec<String> {
    let plan = files.plan();
    let mut lines = Vec::new();
    for (line, finding) in found(&plan).into_iter().zip(&plan.checked.findings) {
        if finding.trouble.code() != "short-of-gear" {
            lines.push(line);
            lines.extend(finding.cures.iter().map(|one| format!("→ {}", cure(&plan.rig, one))));
        }
    }
    lines
}

#[test]
fn each_rig_is_judged_as_the_trade_would() {
    let second_desk = || kit().gear("Second desk,desk,1,,12,16,4,each");
    let rigs: Vec<(&str, Files, Vec<&str>)> = vec![
        (
            "laptop by one lead into a balanced input",
            with("laptop", "playback", ",Desk,mic 2,,3,"),
            vec![
                "wire 2: never subtracts-stereo",
                "→ Take a stereo split (you have: Split): one plug into line 2, the other into a second input",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each), into line 2",
                "wire 2: but too-hot",
            ],
        ),
        (
            "laptop by one lead into a line input",
            with("laptop", "playback", ",Desk,line 2,,3,"),
            vec![
                "wire 2: never subtracts-stereo",
                "→ Take a stereo split (you have: Split): one plug here, the other into a second input",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each)",
            ],
        ),
        (
            "telephone with a headset plug into a headset jack",
            kit().gear("Tablet,headset jack,1").gear("Telephone,music player,1").wire("2,Telephone,,Tablet,in,,2,"),
            vec![
                "wire 2: never subtracts-stereo",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each)",
                "wire 2: but too-hot",
                "wire 2: but headset-jack",
            ],
        ),
        (
            "music player into one active loudspeaker",
            kit().gear("Player,music player,1").change("A,Desk,main L,Left,in,mic cable,10,", "A,Player,,Left,in,,3,"),
            vec![
                "wire A: never subtracts-stereo",
                "→ Take a stereo split (you have: Split): one plug here, the other into a second input",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each)",
            ],
        ),
        (
            "keyboard’s headphone output into a DI",
            with("stereo keys", "keys", "phones,Desk,mic 2,mic cable,10,passive di"),
            vec![
                "wire 2: never subtracts-stereo",
                "→ Take it from its own output, L/mono instead",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each)",
            ],
        ),
        ("keyboard’s left socket alone", with("stereo keys", "keys", "L,Desk,mic 2,mic cable,10,passive di"), vec![]),
        (
            "keyboard’s right socket alone",
            with("stereo keys", "keys", "R,Desk,mic 2,mic cable,10,passive di"),
            vec!["wire 2: but half-of-pair", "→ Wire the other side too, or plug into L/mono alone"],
        ),
        (
            "piezo straight into a mic input",
            with("piezo pickup", "acoustic guitar", ",Desk,mic 2,mic cable,5,"),
            vec![
                "wire 2: never loads-source",
                "→ Put between: active DI on its battery (you have: Battery DI)",
                "→ Plug it into hi-Z 2, if the desk has one",
                "wire 2: never plug-does-not-go-in",
                "wire 2: but too-quiet",
            ],
        ),
        (
            "piezo into a line input",
            with("piezo pickup", "acoustic guitar", ",Desk,line 2,jack cable,5,"),
            vec![
                "wire 2: never loads-source",
                "→ Put between: active DI on its battery (you have: Battery DI), into mic 2",
                "→ Plug it into hi-Z 2, if the desk has one",
                "wire 2: never too-quiet",
            ],
        ),
        (
            "piezo through a passive DI",
            with("piezo pickup", "acoustic guitar", ",Desk,mic 2,mic cable,10,passive di"),
            vec![
                "wire 2: but too-quiet",
                "→ Instead of the passive DI: active DI on its battery (you have: Battery DI)",
                "wire 2: but loads-source",
            ],
        ),
        (
            "passive bass into a line input",
            with("passive pickup", "bass", ",Desk,line 2,jack cable,5,"),
            vec![
                "wire 2: but loads-source",
                "→ Put between: passive DI (you have: DI box), into mic 2",
                "→ Plug it into hi-Z 2, if the desk has one",
            ],
        ),
        (
            "active bass through a passive DI",
            with("active instrument", "bass", ",Desk,mic 2,mic cable,10,passive di"),
            vec![],
        ),
        (
            "active DI without phantom power",
            with("passive pickup", "bass", ",Desk,mic 2,mic cable,10,active di"),
            vec![
                "wire 2: never phantom-is-off",
                "→ Switch +48 V on for this input, after plugging",
                "→ Instead of the active DI: passive DI (you have: DI box)",
            ],
        ),
        (
            "record player into a line input",
            with("turntable", "playback", "L,Desk,line 2,rca cable,2,"),
            vec![
                "wire 2: never needs-phono-preamp",
                "→ Put between: phono preamplifier (none to spare on the gear list)",
                "wire 2: never too-quiet",
                "wire 2: but half-of-pair",
                "→ Wire the other side too",
            ],
        ),
        (
            "record player into a mic input",
            with("turntable", "playback", "L,Desk,mic 2,rca cable,2,"),
            vec![
                "wire 2: never needs-phono-preamp",
                "→ Put between: phono preamplifier (none to spare on the gear list)",
                "wire 2: but loads-source",
                "wire 2: but half-of-pair",
                "→ Wire the other side too",
            ],
        ),
        (
            "record player through its preamplifier",
            with("turntable", "playback", "L,Desk,stereo 2 L,rca cable,2,phono preamp")
                .wire("3,Source,R,Desk,stereo 2 R,rca cable,2,phono preamp"),
            vec![],
        ),
        (
            "interface’s outputs",
            kit()
                .input("2,Tracks,playback,line,no,,,,,L,,,,")
                .input("3,Tracks right,playback,line,no,,,,,R,,,,")
                .wire("2,Recorder,L,Desk,line 2,balanced jack cable,3,")
                .wire("3,Recorder,R,Desk,line 3,balanced jack cable,3,"),
            vec![],
        ),
        (
            "wireless receiver at line level into a mic input",
            with("radio mic", "speech", ",Desk,mic 2,mic cable,3,"),
            vec!["wire 2: but too-hot", "→ Plug it into line 2"],
        ),
        (
            "wireless receiver at mic level into a line input",
            with("radio mic at mic level", "speech", ",Desk,line 2,jack cable,3,"),
            vec![
                "wire 2: but too-quiet",
                "→ Plug it into mic 2",
                "wire 2: but cold-shorted",
                "→ Take another lead: balanced jack cable (you have: Balanced)",
            ],
        ),
        (
            "condenser without phantom power",
            with("condenser mic", "choir", ",Desk,mic 2,mic cable,10,"),
            vec!["wire 2: never phantom-is-off", "→ Switch +48 V on for this input, after plugging"],
        ),
        (
            "condenser behind a transformer",
            kit()
                .input("2,Choir,choir,mic,yes,condenser mic,,,,,,,,")
                .wire("2,Choir,,Desk,mic 2,mic cable,10,isolator"),
            vec!["wire 2: never no-phantom", "→ Leave the isolating transformer out"],
        ),
        (
            "ribbon with phantom power",
            kit().input("2,Brass,brass,mic,yes,ribbon mic,,,,,,,,").wire("2,Brass,,Desk,mic 2,mic cable,10,"),
            vec!["wire 2: never phantom-harms", "→ Switch +48 V OFF for this input, before plugging"],
        ),
        (
            "microphone through a DI",
            kit().change("mic 1,mic cable,10,", "mic 1,mic cable,10,passive di"),
            vec!["wire 1: but too-quiet", "→ Leave the passive DI out"],
        ),
        (
            "microphone into an instrument input",
            kit().change("mic 1,mic cable,10,", "hi-z 1,mic cable,5,"),
            vec![
                "wire 1: never too-quiet",
                "→ Plug it into mic 1",
                "wire 1: never plug-does-not-go-in",
                "wire 1: but mic-on-instrument-input",
                "wire 1: but mic-unbalanced",
            ],
        ),
        (
            "microphone to two desks",
            second_desk().wire("2,Voice,,Second desk,mic 1,mic cable,10,"),
            vec![
                "wire 1: but mic-split-without-transformer",
                "→ Put between: microphone splitter with a transformer (none to spare on the gear list)",
            ],
        ),
        (
            "microphone to two desks by a splitter",
            second_desk().wire("2,Voice,,Second desk,mic 1,mic cable,10,mic splitter"),
            vec![],
        ),
        (
            "condenser to two desks, powered by one",
            second_desk()
                .input("2,Choir,choir,mic,yes,condenser mic,,,,,,,,")
                .wire("2,Choir,,Desk,mic 2,mic cable,10,")
                .wire("3,Choir,,Second desk,mic 1,mic cable,10,"),
            vec![
                "wire 2: but mic-split-without-transformer",
                "→ Put between: microphone splitter with a transformer (none to spare on the gear list)",
            ],
        ),
        (
            "microphone straight into an active loudspeaker",
            kit()
                .change(VOICE, &VOICE.replace("aux 1 pre", ""))
                .change("1,Voice,,Desk,mic 1,", "1,Voice,,Left,in,")
                .change("A,Desk,main L,Left,in,mic cable,10,\n", ""),
            vec!["wire 1: but speech-mic-only", "Right: but nothing-feeds-it", "Wedge: but nothing-feeds-it"],
        ),
        (
            "active loudspeaker linked to the next",
            kit().gear("Delay,active speaker,1").wire("2,Left,link,Delay,in,mic cable,20,"),
            vec![],
        ),
        (
            "guitar amplifier’s loudspeaker output into a DI",
            kit()
                .gear("Amp,amplifier,1")
                .input("2,Guitar,other,di,no,,,,,,,,,")
                .wire("2,Amp,speaker 1,Desk,mic 2,mic cable,10,passive di"),
            vec![
                "wire 2: never speaker-level",
                "→ Put a microphone before its loudspeaker: dynamic mic (you have: Handheld)",
                "Amp: never nothing-feeds-it",
            ],
        ),
        (
            "amplifier into an active monitor",
            amplified(",4,200")
                .gear("Stage box,active monitor,1")
                .wire("E,Amp,speaker 1,Stage box,in,speaker cable,10,"),
            vec!["wire E: never speaker-level", "→ Feed it from Desk aux 3 instead"],
        ),
        (
            "two amplifiers into one loudspeaker",
            amplified(",4,200")
                .gear("Other,amplifier,1,,,,,,,,4,200")
                .wire("E,Amp,speaker 1,Box 1,in,speaker cable,10,")
                .wire("F,Desk,aux 3,Other,in 1,mic cable,5,")
                .wire("G,Other,speaker 1,Box 1,in,speaker cable,10,"),
            vec!["wire G: never outputs-fight", "→ Take one of the two out"],
        ),
        (
            "loudspeaker for a 100 V line on an ordinary amplifier",
            amplified(",8,100")
                .gear("Corridor,line speaker,1,,,,,,,,,10")
                .wire("E,Amp,speaker 1,Corridor,in,speaker cable,10,"),
            vec!["wire E: but line-speaker-on-amplifier", "→ Leave it to a competent person"],
        ),
        (
            "ordinary loudspeaker on a 100 V line",
            kit()
                .change(",aux 1 pre,", ",aux 1 pre + aux 2 pre,")
                .gear("Line amp,line amplifier,1,,,,,,,,,120")
                .gear("Box,passive monitor,1,,,,,,,8,,150")
                .wire("D,Desk,aux 2,Line amp,in 1,mic cable,5,")
                .wire("E,Line amp,speaker 1,Box,in,speaker cable,10,"),
            vec!["wire E: never needs-step-down", "→ Leave it to a competent person"],
        ),
        (
            "microphone cable on a loudspeaker",
            amplified(",4,200").wire("E,Amp,speaker 1,Box 1,in,mic cable,10,"),
            vec!["wire E: never thin-cable", "→ Take another lead: speaker cable (you have: Thick)"],
        ),
        (
            "desk straight into a passive loudspeaker",
            amplified(",4,200").wire("E,Desk,aux 3,Box 1,in,speaker cable,10,"),
            vec![
                "wire E: never needs-amplifier",
                "→ Put between: amplifier (you have: Amp)",
                "Box 1: but nothing-feeds-it",
            ],
        ),
        (
            "recorder on the headphones",
            kit().wire("D,Desk,phones,Recorder,in 1,balanced jack cable,3,"),
            vec![
                "wire D: never subtracts-stereo",
                "→ Take it from rec L instead",
                "wire D: but level-by-knob",
                "→ Set the knob once and tape it",
            ],
        ),
        (
            "recorder on an insert",
            kit().wire("D,Desk,insert 1,Recorder,in 1,jack cable,3,"),
            vec!["wire D: but insert-is-no-output", "→ Feed it from Desk aux 2 instead"],
        ),
        (
            "desk into a tablet’s headset jack",
            kit().gear("Tablet,headset jack,1").wire("D,Desk,main L,Tablet,in,,3,"),
            vec![
                "wire D: never too-hot",
                "→ Put between: 40 dB pad (none to spare on the gear list)",
                "wire D: but headset-jack",
            ],
        ),
        (
            "instrument into an insert",
            with("active instrument", "keys", ",Desk,insert 2,jack cable,3,"),
            vec![
                "wire 2: never insert-is-two-way",
                "→ Plug it into line 2",
                "→ Put between: passive DI (you have: DI box), into mic 2",
            ],
        ),
        (
            "long unbalanced run to a line input",
            with("active instrument", "keys", ",Desk,line 2,jack cable,20,"),
            vec![
                "wire 2: but long-unbalanced",
                "→ Put between: passive DI (you have: DI box), into mic 2",
                "→ Take a lead of 8 m or less",
            ],
        ),
        (
            "long jack lead to a loudspeaker",
            kit().change("A,Desk,main L,Left,in,mic cable,10,", "A,Desk,main L,Left,in,jack cable,25,"),
            vec![
                "wire A: but cold-shorted",
                "→ Take another lead: mic cable (none to spare on the gear list)",
                "→ Put between: isolating transformer (none to spare on the gear list)",
                "wire A: but long-unbalanced",
                "→ Take a lead of 8 m or less",
            ],
        ),
        (
            "another desk into a mic input",
            with("other desk", "playback", "L,Desk,mic 2,mic cable,5,"),
            vec![
                "wire 2: but too-hot",
                "→ Plug it into line 2",
                "wire 2: but half-of-pair",
                "→ Wire the other side too",
            ],
        ),
        (
            "effects on jack leads",
            kit()
                .change(",aux 1 pre,", ",aux 1 pre + aux 2 post,")
                .input("5,Echo,other,line,no,,,,,,,,,")
                .wire("D,Desk,aux 2,Effects,in 1,jack cable,2,")
                .wire("E,Effects,,Desk,line 5,jack cable,2,"),
            vec![
                "wire D: but cold-shorted",
                "→ Take another lead: balanced jack cable (you have: Balanced)",
                "wire E: but cold-shorted",
                "→ Take another lead: balanced jack cable (you have: Balanced)",
            ],
        ),
        (
            "USB through a hub",
            kit().wire("D,Desk,usb,Recorder,usb,usb cable,8,usb hub"),
            vec!["wire D: but usb-too-long", "→ Take a lead of 5 m or less", "wire D: but usb-hub"],
        ),
        ("main output to a recorder as well", kit().wire("D,Desk,main L,Recorder,in 1,mic cable,5,"), vec![]),
        (
            "one bass on two line inputs",
            with("passive pickup", "bass", ",Desk,hi-z 2,jack cable,5,")
                .input("3,Again,bass,line,no,,,,,,,,,")
                .wire("3,Source,,Desk,line 3,jack cable,5,"),
            vec![
                "wire 2: but split-loads",
                "wire 3: but loads-source",
                "→ Put between: passive DI (you have: DI box), into mic 3",
                "→ Plug it into hi-Z 3, if the desk has one",
            ],
        ),
        (
            "laptop by a split, one leg unused",
            with("laptop", "playback", "L,Desk,line 2,stereo split,3,"),
            vec!["wire 2: but half-of-pair", "→ Wire the other side too"],
        ),
        (
            "laptop through a stereo-to-mono adapter",
            with("laptop", "playback", ",Desk,line 2,mini jack cable,3,resistor sum"),
            vec![],
        ),
        (
            "laptop by an insert lead",
            with("laptop", "playback", "L,Desk,line 2,insert cable,3,"),
            vec![
                "wire 2: never subtracts-stereo",
                "→ Take a stereo split (you have: Split): one plug here, the other into a second input",
                "→ Put between: a stereo-to-mono adapter with resistors (470 Ω or more each)",
                "wire 2: but insert-lead-as-split",
            ],
        ),
        (
            "tie-clip microphone with its battery into a line input",
            with("battery condenser mic", "speech", ",Desk,line 2,mic cable,3,"),
            vec!["wire 2: never too-quiet", "→ Plug it into mic 2", "wire 2: never plug-does-not-go-in"],
        ),
        (
            "powered mixer’s loudspeaker output into a line input",
            kit()
                .gear("Mixer,powered mixer,1")
                .wire("D,Desk,aux 1,Mixer,line 1,balanced jack cable,5,")
                .wire("E,Mixer,speaker 1,Recorder,in,jack cable,2,"),
            vec!["wire E: never speaker-level", "→ Feed it from Desk main instead"],
        ),
        (
            "laptop by USB",
            kit().input("2,Music,playback,line,,laptop,,,,,,,,").wire("2,Music,usb,Desk,usb,usb cable,2,"),
            vec![],
        ),
        (
            "condenser into an active monitor",
            kit()
                .change(VOICE, &VOICE.replace("aux 1 pre", ""))
                .input("2,Choir,choir,mic,no,condenser mic,,,,,,,,")
                .change("C,Desk,aux 1,Wedge,in,", "C,Choir,,Wedge,in,"),
            vec![
                "wire C: never no-phantom",
                "→ Put between: phantom box (none to spare on the gear list)",
                "channel 2: never not-wired",
                "wire C: but speech-mic-only",
            ],
        ),
        (
            "condenser on a desk without phantom power",
            with("condenser mic", "choir", ",Desk,mic 2,mic cable,10,").change("16,4,each", "16,4,no"),
            vec!["wire 2: never no-phantom", "→ Put between: phantom box (none to spare on the gear list)"],
        ),
    ];
    let mut wrong = Vec::new();
    for (name, files, expected) in &rigs {
        let lines = said(files);
        if lines != *expected {
            wrong.push(format!("{name}:\n    {}", lines.join("\n    ")));
        }
    }
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), rigs.len(), wrong.join("\n"));
}
