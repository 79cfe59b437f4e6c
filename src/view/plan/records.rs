//! The plan for other programs: JSON, one object a line.

use serde_json::{Value, json};

use super::findings::{about, chain, finding_line, headline, refused, unknown, verdict_word};
use super::{CAUTIONS, Plan, cure, end, lead_of, remark, sum_line, weakest_stage};
use crate::plan::checks::named;
use crate::plan::rig::WireId;
use crate::view::numbers::thousandths;

pub const PLAN_KEYS: &str = "\
Keys: type says what a line is. plan: name, sentence, never, works_but, channels, wires. finding: about, subject (about in words), what (the word to accept it \
by), verdict (never | works, but), sentence, fix (the best first), accepted (why, or null). wire: label, from, to, lead, \
verdict, remarks. channel: channel, sentence (its way from source to ears). sum: about, sentence, result (null where it \
cannot be computed). seat: seat, level_db, needed_db. weakest (the stage that clips first), refused (a line of accepted that accepts nothing), unknown, warning, caution: sentence. file: path.";

/// All of it; `whole` adds wires, channels and computations.
pub fn plan_records(plan: &Plan, whole: bool) -> Vec<Value> {
    use crate::plan::verdict::Verdict;
    let (rig, checked) = (&plan.rig, &plan.checked);
    let mut all = vec![json!({
        "type": "plan", "name": rig.name, "sentence": headline(plan),
        "never": checked.count(Verdict::Never), "works_but": checked.count(Verdict::WorksBut),
        "channels": rig.strips.len(), "wires": rig.wires.len(),
    })];
    for finding in &checked.findings {
        let fix: Vec<String> = finding.cures.iter().map(|one| cure(rig, one)).collect();
        all.push(json!({
            "type": "finding", "about": named(rig, finding.about), "what": finding.trouble.code(),
            "verdict": verdict_word(finding.weight), "subject": about(rig, finding.about),
            "sentence": finding_line(rig, finding), "fix": fix, "accepted": finding.accepted,
        }));
    }
    for one in &checked.refused {
        all.push(json!({ "type": "refused", "sentence": refused(rig, *one) }));
    }
    if whole {
        details(plan, &mut all);
    }
    for one in &checked.unknown {
        all.push(json!({ "type": "unknown", "sentence": unknown(rig, *one) }));
    }
    for warning in &plan.warnings {
        all.push(json!({ "type": "warning", "sentence": warning }));
    }
    for caution in CAUTIONS {
        all.push(json!({ "type": "caution", "sentence": caution.words() }));
    }
    all
}

fn details(plan: &Plan, all: &mut Vec<Value>) {
    let (rig, checked) = (&plan.rig, &plan.checked);
    for (index, wired) in rig.wires.iter().enumerate() {
        let remarks: Vec<String> = checked.judgements[index].remarks.iter().map(|one| remark(*one)).collect();
        all.push(json!({
            "type": "wire", "label": wired.label, "from": end(rig, wired.from), "to": end(rig, wired.to),
            "lead": lead_of(wired), "verdict": verdict_word(checked.of_wire(WireId(index))), "remarks": remarks,
        }));
    }
    for strip in &rig.strips {
        let channel = strip.channel.number();
        all.push(json!({ "type": "channel", "channel": channel, "sentence": chain(plan, channel as u8) }));
    }
    for (what, worked) in &checked.worked {
        all.push(json!({
            "type": "sum", "about": about(rig, *what), "sentence": sum_line(worked), "result": thousandths(worked.value()),
        }));
    }
    if let Some(sentence) = weakest_stage(plan) {
        all.push(json!({ "type": "weakest", "sentence": sentence }));
    }
    let seats = rig.venue.iter().flat_map(|venue| &venue.seats);
    for (seat, level) in seats.zip(&checked.loudness.seats) {
        all.push(json!({
            "type": "seat", "seat": seat.name, "level_db": thousandths(level.level.get()),
            "needed_db": level.needed.map(|needed| thousandths(needed.get())),
        }));
    }
}
