//! Events written for a test, and what is found in them.

use std::fs;
use std::path::Path;

use beforedoors::event::EventError;
use beforedoors::event::rig::{FILES, open};
use beforedoors::plan::checks::named;
use beforedoors::plan::verdict::Verdict;
use beforedoors::view::plan::{Plan, finding_line};

const HEADINGS: &str = "channel,name,kind,connection,phantom,gear,to,sends,mute,pan,fader,solo,insert,cue";
pub const VOICE: &str = "1,Voice,speech,mic,no,dynamic mic,,aux 1 pre,,,,,,";
const WIRES: &str = "wire,from,out,to,in,cable,length_m,through
1,Voice,,Desk,mic 1,mic cable,10,
A,Desk,main L,Left,in,mic cable,10,
B,Desk,main R,Right,in,mic cable,10,
C,Desk,aux 1,Wedge,in,mic cable,10,
";
const GEAR: &str = "item,kind,count,length_m,mic_inputs,channels,auxes,phantom,battery_h,ohms,least_ohms,watts
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

/// An event of files: one voice, a desk, two loudspeakers and a monitor, and nothing wrong with it.
pub struct Files {
    inputs: String,
    wires: String,
    gear: String,
    event: String,
}

impl Files {
    pub fn whole() -> Self {
        Self {
            inputs: format!("{HEADINGS}\n{VOICE}\n"),
            wires: WIRES.into(),
            gear: GEAR.into(),
            event: "version = 1\nname = \"Assembly\"\n".into(),
        }
    }

    pub fn input(mut self, line: &str) -> Self {
        self.inputs += &format!("{line}\n");
        self
    }

    pub fn wire(mut self, line: &str) -> Self {
        self.wires += &format!("{line}\n");
        self
    }

    /// A line more of the gear list: item, kind, count, and whatever follows by heading.
    pub fn gear(mut self, line: &str) -> Self {
        self.gear += &format!("{line}\n");
        self
    }

    pub fn event(mut self, lines: &str) -> Self {
        self.event += &format!("{lines}\n");
        self
    }

    /// What stands once in any of the files, by something else.
    pub fn change(mut self, old: &str, new: &str) -> Self {
        let files = [&mut self.inputs, &mut self.wires, &mut self.gear, &mut self.event];
        assert_eq!(files.iter().filter(|file| file.contains(old)).count(), 1, "{old}");
        files.into_iter().for_each(|file| *file = file.replace(old, new));
        self
    }

    pub fn write(&self, folder: &Path) {
        let files = [("inputs.csv", &self.inputs), ("patch.csv", &self.wires), ("gear.csv", &self.gear)];
        for (name, text) in files.into_iter().chain([("event.toml", &self.event)]) {
            fs::write(folder.join(name), text).expect("a file");
        }
    }

    pub fn plan(&self) -> Plan {
        let folder = tempfile::tempdir().expect("a folder");
        self.write(folder.path());
        Plan::open(folder.path()).unwrap_or_else(|error| panic!("{error}"))
    }
}

/// The worked example with these files in the place of its own.
pub fn example_with(changed: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in FILES.iter().chain(changed) {
        fs::write(folder.path().join(name), text).expect("written");
    }
    folder
}

pub fn plan(folder: &Path) -> Plan {
    Plan::open(folder).unwrap_or_else(|error| panic!("{error}"))
}

/// A line a mistake, without the folder's own path.
pub fn mistakes(folder: &Path) -> Vec<String> {
    match open(folder) {
        Ok(_) => panic!("read without a mistake"),
        Err(error @ EventError::Mistakes(_)) => {
            let path = format!("{}/", folder.display());
            error.to_string().lines().map(|line| line.replace(&path, "")).collect()
        }
        Err(error) => panic!("{error}"),
    }
}

/// "channel 3: never not-heard", each finding a line, the worst first.
pub fn found(plan: &Plan) -> Vec<String> {
    let word = |weight| if weight == Verdict::Never { "never" } else { "but" };
    let findings = plan.checked.findings.iter();
    findings
        .map(|one| format!("{}: {} {}", named(&plan.rig, one.about), word(one.weight), one.trouble.code()))
        .collect()
}

/// What is said of each finding, and of each way to mend it.
pub fn sentences(plan: &Plan) -> Vec<String> {
    plan.checked.findings.iter().map(|one| finding_line(&plan.rig, one)).collect()
}
