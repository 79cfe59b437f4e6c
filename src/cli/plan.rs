//! `plan`: a new example, the check, the whole chain, the sheets.
//!
//! Edge cases: a folder that cannot be read tells all mistakes at once and ends with 3; one without wires ends with 2
//! unless something is wrong as well.

use std::path::{Path, PathBuf};

use super::args::{Paper, PlanCommand, PlanFolder};
use super::{Exit, out};
use crate::event::rig;
use crate::view::lengths;
use crate::view::plan::{self, CAUTIONS, Outcome, Plan};

/// Makes the files of the sheets: name and text; `true` is for Letter paper.
pub type Printer = fn(&Plan, bool) -> Vec<(String, String)>;

pub fn run(command: &PlanCommand, printer: Printer) -> anyhow::Result<Exit> {
    match command {
        PlanCommand::New { folder } => new(folder),
        PlanCommand::Check(of) => check(of),
        PlanCommand::Show(of) => show(of),
        PlanCommand::Print { of, out, paper } => print(of, out.as_deref(), *paper == Paper::Letter, printer),
    }
}

fn new(folder: &Path) -> anyhow::Result<Exit> {
    rig::write_example(folder)?;
    out::line(&format!("Wrote a worked example into {}: an invented school’s concert.", folder.display()))?;
    for (name, _) in rig::FILES {
        out::line(&format!("  {name}"))?;
    }
    out::line(&format!("It has a few faults to find: beforedoors plan check {}", folder.display()))?;
    Ok(Exit::Fine)
}

fn open(of: &PlanFolder) -> anyhow::Result<Plan> {
    lengths::show_feet(of.feet);
    Ok(Plan::open(of.folder.as_deref().unwrap_or(Path::new(".")))?)
}

fn check(of: &PlanFolder) -> anyhow::Result<Exit> {
    let plan = open(of)?;
    if of.json {
        for record in plan::plan_records(&plan, false) {
            out::json(&record)?;
        }
    } else {
        findings(&plan)?;
        cautions()?;
    }
    Ok(exit(&plan))
}

fn exit(plan: &Plan) -> Exit {
    match plan.outcome() {
        Outcome::Fine => Exit::Fine,
        Outcome::Findings => Exit::Findings,
        Outcome::CannotTell => Exit::CannotTell,
    }
}

fn findings(plan: &Plan) -> std::io::Result<()> {
    out::line(&plan::headline(plan))?;
    for finding in &plan.checked.findings {
        let (sign, word) = (plan::verdict_sign(finding.weight), plan::verdict_word(finding.weight));
        let (about, code) = (plan::about(&plan.rig, finding.about), finding.trouble.code());
        out::line(&format!("{sign} {word:<10}  {about}  [{code}]"))?;
        out::line(&format!("              {}", plan::finding_line(&plan.rig, finding)))?;
        for cure in &finding.cures {
            out::line(&format!("              → {}", plan::cure(&plan.rig, cure)))?;
        }
        if let Some(because) = &finding.accepted {
            out::line(&format!("              accepted: {because}"))?;
        }
    }
    for refused in &plan.checked.refused {
        out::line(&format!("? {}", plan::refused(&plan.rig, *refused)))?;
    }
    if !plan.checked.unknown.is_empty() {
        out::line("Can’t tell from here:")?;
    }
    for unknown in &plan.checked.unknown {
        out::line(&format!("  {}", plan::unknown(&plan.rig, *unknown)))?;
    }
    for warning in &plan.warnings {
        out::line(&format!("  note: {warning}"))?;
    }
    Ok(())
}

/// With every result; nothing turns them off.
fn cautions() -> std::io::Result<()> {
    out::line("Cautions")?;
    for caution in CAUTIONS {
        out::line(&format!("  {}", caution.words()))?;
    }
    Ok(())
}

fn show(of: &PlanFolder) -> anyhow::Result<Exit> {
    let plan = open(of)?;
    if of.json {
        for record in plan::plan_records(&plan, true) {
            out::json(&record)?;
        }
        return Ok(exit(&plan));
    }
    out::line("From source to ears")?;
    for strip in &plan.rig.strips {
        out::line(&format!("  {}", plan::chain(&plan, strip.channel.number() as u8)))?;
    }
    out::line("Wires")?;
    for (index, wired) in plan.rig.wires.iter().enumerate() {
        let id = plan::wire_id(index);
        let verdict = plan.checked.of_wire(id);
        out::line(&format!(
            "  {} {:<10}  {}  ({})",
            plan::verdict_sign(verdict),
            plan::verdict_word(verdict),
            plan::wire_words(&plan.rig, id),
            plan::lead_of(wired)
        ))?;
        for remark in &plan.checked.judgements[index].remarks {
            out::line(&format!("                {}", plan::remark(*remark)))?;
        }
    }
    out::line("Computed")?;
    for line in plan::computed_lines(&plan) {
        out::line(&format!("  {line}"))?;
    }
    out::line("Found")?;
    findings(&plan)?;
    cautions()?;
    Ok(exit(&plan))
}

/// Sheets are written whatever was found: each carries its verdicts.
fn print(of: &PlanFolder, to: Option<&Path>, letter: bool, printer: Printer) -> anyhow::Result<Exit> {
    let plan = open(of)?;
    let folder: PathBuf = match (to, &of.folder) {
        (Some(to), _) => to.to_owned(),
        (None, Some(event)) => event.join("print"),
        (None, None) => PathBuf::from("print"),
    };
    for (name, text) in printer(&plan, letter) {
        rig::write(&folder, &name, &text)?;
        if of.json {
            out::json(&serde_json::json!({ "type": "file", "path": folder.join(&name).display().to_string() }))?;
        } else {
            out::line(&format!("Wrote {}", folder.join(&name).display()))?;
        }
    }
    if !of.json {
        out::line(&plan::headline(&plan))?;
        cautions()?;
    }
    Ok(exit(&plan))
}
