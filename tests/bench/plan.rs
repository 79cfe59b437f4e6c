//! The plan of a large evening: check and every sheet, in milliseconds.
//!
//! 48 inputs on a 48-channel desk, each with its wire, six monitors, two hall loudspeakers, a gear list and a hall. Read
//! once from a folder; then checked, and all sheets made (HTML for A4, CSV, SVG). Asked: less than 100 ms together. The
//! median of several runs by the clock stands beside the best and the worst.

use std::fmt::Write;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use beforedoors::event::rig;
use beforedoors::plan::checks::Checked;
use beforedoors::report;
use beforedoors::view::plan::{Plan, plan_records};

const INPUTS: usize = 48;
const MONITORS: usize = 6;
const ROUNDS: usize = 21;
const ASKED_MS: f64 = 100.0;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    write_event(folder.path());
    let plan = Plan::open(folder.path()).unwrap_or_else(|error| panic!("{error}"));
    println!(
        "{} inputs, {} wires, {} findings",
        plan.rig.strips.len(),
        plan.rig.wires.len(),
        plan.checked.findings.len()
    );
    let rig = plan.rig.clone();
    row("read the folder", || drop(black_box(rig::open(folder.path()))));
    let check = row("check", || drop(black_box(Checked::of(&rig))));
    let prints = row("all sheets", || drop(black_box(report::files(&plan, false))));
    row("every line of JSON", || drop(black_box(plan_records(&plan, true))));
    let both = row("check and all sheets", || {
        let plan = Plan::of(rig.clone(), Vec::new());
        drop(black_box(report::files(&plan, false)));
    });
    let word = if both < ASKED_MS { "reached" } else { "MISSED" };
    println!("check {check:.1} ms + sheets {prints:.1} ms; together {both:.1} ms, asked < {ASKED_MS} ms: {word}");
}

/// Prints the median, best and worst; gives the median.
fn row(name: &str, run: impl Fn()) -> f64 {
    let mut times: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed()
        })
        .collect();
    times.sort();
    let ms = |time: Duration| time.as_secs_f64() * 1e3;
    let (best, median, worst) = (ms(times[0]), ms(times[ROUNDS / 2]), ms(times[ROUNDS - 1]));
    println!("{name:<22} {median:7.2} ms   ({best:.2} to {worst:.2})");
    median
}

fn write_event(folder: &Path) {
    rig::write_example(folder).expect("the example");
    let venue = fs::read_to_string(folder.join("venue.toml")).expect("the hall");
    let mut inputs = "channel,name,kind,connection,phantom,gear,sends,distance_m,place_x_m,place_y_m\n".to_owned();
    let mut patch = "wire,from,out,to,in,cable,length_m,through\n".to_owned();
    let mut gear = "item,kind,count,max_db,draw_w,length_m,mic_inputs,channels,auxes,phantom\n\
                    Hall desk,desk,1,,90,,48,48,8,each\nMain left,active speaker,1,124,500,,,,,\n\
                    Main right,active speaker,1,124,500,,,,,\nMic cable,mic cable,80,,,25,,,,\n"
        .to_owned();
    // Writing to a string cannot fail.
    for n in 1..=INPUTS {
        let (kind, phantom, mic) = [
            ("solo vocal", "no", "dynamic mic"),
            ("choir", "yes", "condenser mic"),
            ("woodwind", "no", "dynamic mic"),
            ("piano", "yes", "condenser mic"),
        ][n % 4];
        let (aux, x, y) = (1 + n % MONITORS, (n % 12) as f64 - 6.0, (n / 12) as f64 + 0.5);
        let _ = writeln!(inputs, "{n},Voice {n},{kind},mic,{phantom},{mic},aux {aux} pre,0.2,{x},{y}");
        let _ = writeln!(patch, "{n},Voice {n},,Hall desk,mic {n},mic cable,20,");
    }
    for (label, side) in [("A", "left"), ("B", "right")] {
        let short = if side == "left" { "L" } else { "R" };
        let _ = writeln!(patch, "{label},Hall desk,main {short},Main {side},in,mic cable,20,");
        let _ = writeln!(patch, "P{label},{side} wall,,Main {side},,mains cable,10,");
    }
    for n in 1..=MONITORS {
        let _ = writeln!(patch, "M{n},Hall desk,aux {n},Wedge {n},in,mic cable,15,");
        let _ = writeln!(patch, "PM{n},left wall,,Wedge {n},,mains cable,10,");
    }
    let _ = writeln!(gear, "Wedge,active monitor,{MONITORS},118,300,,,,,");
    let venue =
        venue.replace("Soloist wedge", "Wedge 1").replace("Band wedge 1", "Wedge 2").replace("Band wedge 2", "Wedge 3");
    let event = "version = 1\nname = \"Everybody\"\n";
    for (name, text) in [
        ("inputs.csv", &*inputs),
        ("patch.csv", &patch),
        ("gear.csv", &gear),
        ("venue.toml", &venue),
        ("event.toml", event),
    ] {
        fs::write(folder.join(name), text).expect("a file");
    }
}
