//! A report on recordings: one HTML page that needs nothing from outside, or a table as CSV.
//!
//! The page has the faults of all recordings, the worst first; what the recordings of a folder are together; then each
//! recording with its level over time, its faults marked on it, and its spectrum, as SVG. It prints on A4 and on Letter, on a
//! black-and-white printer, at 11 points. Edge cases: text from outside is escaped; recordings without a picture (unreadable,
//! or one of very many) have words only.

mod css;
mod picture;
mod spectrum;

use std::fmt::Write;

use super::csv::{guarded, table};
use super::html::escaped;
use crate::view::{Bad, CUE_LIST, Fault, ReportForm, TITLE, Take, TakesReport, Together, numbers};

/// The report in this form.
pub fn takes(report: &TakesReport, form: ReportForm) -> String {
    match form {
        ReportForm::Html => page(report),
        ReportForm::Csv => rows(report),
    }
}

/// The faults told in the first table; the rest stand with their recordings.
const MOST_ROWS: usize = 400;

fn rows(report: &TakesReport) -> String {
    let heading = ["file", "track", "start_s", "end_s", "severity", "kind", "evidence", "advice"].map(str::to_owned);
    let row = |(take, fault): (&Take, &Fault)| {
        let seconds = |at: f64| format!("{at:.3}");
        [
            guarded(&take.path.display().to_string()),
            guarded(&fault.track),
            seconds(fault.from.get()),
            seconds(fault.to.get()),
            fault.bad.word().to_owned(),
            fault.kind.word().to_owned(),
            guarded(&fault.evidence),
            guarded(&fault.advice),
        ]
    };
    let unread = report.takes.iter().filter(|take| take.bad == Bad::Unreadable).map(|take| {
        let name = guarded(&take.path.display().to_string());
        let word = Bad::Unreadable.word().to_owned();
        [name, String::new(), String::new(), String::new(), word, String::new(), guarded(&take.line), String::new()]
    });
    table(std::iter::once(heading).chain(unread).chain(worst_first(report).into_iter().map(row)))
}

/// Every fault of every recording.
fn worst_first(report: &TakesReport) -> Vec<(&Take, &Fault)> {
    let of = |take: &'_ Take| take.faults.len();
    let mut all: Vec<(&Take, &Fault)> = Vec::with_capacity(report.takes.iter().map(of).sum());
    all.extend(report.takes.iter().flat_map(|take| take.faults.iter().map(move |fault| (take, fault))));
    all.sort_by_key(|(_, fault)| std::cmp::Reverse(fault.bad));
    all
}

fn page(report: &TakesReport) -> String {
    let mut html = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{TITLE}</title>\n<style>{}</style>\n</head>\n<body>\n<h1>{TITLE}</h1>\n",
        css::STYLE
    );
    // Writing to a string cannot fail.
    let _ = writeln!(html, "<p>{}</p>", escaped(&report.summary()));
    first_table(report, &mut html);
    for together in &report.together {
        folder(together, &mut html);
    }
    for take in report.in_order() {
        recording(take, &mut html);
    }
    html.push_str("</body>\n</html>\n");
    html
}

fn first_table(report: &TakesReport, html: &mut String) {
    let all = worst_first(report);
    let unread: Vec<&Take> = report.takes.iter().filter(|take| take.bad == Bad::Unreadable).collect();
    if all.is_empty() && unread.is_empty() {
        return;
    }
    html.push_str("<h2>What was found, worst first</h2>\n<table>\n<thead><tr><th></th><th>How bad</th><th>Recording</th><th>When</th><th>Track</th><th>What</th><th>Do this</th></tr></thead>\n<tbody>\n");
    for take in unread {
        let _ = writeln!(
            html,
            "<tr><td>{}</td><td class=\"n\">{}</td><td class=\"name\">{}</td><td></td><td></td><td colspan=\"2\">{}</td></tr>",
            picture::sign(take.bad),
            take.bad.word(),
            escaped(&take.name),
            escaped(&take.line)
        );
    }
    for (take, fault) in all.iter().take(MOST_ROWS) {
        let _ = writeln!(
            html,
            "<tr><td>{}</td><td class=\"n\">{}</td><td class=\"name\">{}</td><td class=\"n\">{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            picture::sign(fault.bad),
            fault.bad.word(),
            escaped(&take.name),
            numbers::clock(fault.from),
            escaped(&fault.track),
            escaped(&fault.evidence),
            escaped(&fault.advice)
        );
    }
    html.push_str("</tbody>\n</table>\n");
    if all.len() > MOST_ROWS {
        let _ = writeln!(html, "<p>… and {} more, with their recordings.</p>", all.len() - MOST_ROWS);
    }
}

fn folder(together: &Together, html: &mut String) {
    let _ = write!(
        html,
        "<section>\n<h2>{}</h2>\n<table class=\"matrix\">\n<thead><tr><th></th><th>Track</th>",
        escaped(&together.title)
    );
    let listed = together.rows.iter().any(|row| !row.input.is_empty());
    html.push_str(if listed { "<th>Input</th>" } else { "" });
    html.push_str("<th>Peak</th><th>A</th>");
    for kind in &together.columns {
        let _ = write!(html, "<th>{}</th>", kind.short());
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for row in &together.rows {
        let _ = write!(html, "<tr><td>{}</td><td class=\"name\">{}</td>", picture::sign(row.worst), escaped(&row.name));
        if listed {
            let _ = write!(html, "<td class=\"name\">{}</td>", escaped(&row.input));
        }
        let _ = write!(html, "<td class=\"n\">{}</td><td class=\"n\">{}</td>", row.peak, row.active);
        for cell in &row.cells {
            let _ = write!(html, "<td>{}</td>", cell.map_or(String::new(), picture::sign));
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    cue_list(&together.cues, html);
    for pair in &together.pairs {
        html.push_str("<ul>\n");
        for line in pair {
            let _ = writeln!(html, "<li>{}</li>", escaped(line));
        }
        html.push_str("</ul>\n");
    }
    html.push_str("</section>\n");
}

fn cue_list(cues: &[String], html: &mut String) {
    if cues.is_empty() {
        return;
    }
    let _ = write!(html, "<h3>{CUE_LIST}</h3>\n<pre>");
    for cue in cues {
        let _ = writeln!(html, "{}", escaped(cue));
    }
    html.push_str("</pre>\n");
}

fn recording(take: &Take, html: &mut String) {
    let _ = writeln!(
        html,
        "<section>\n<h2>{} {}: {}</h2>\n<p><b>{}</b></p>",
        picture::sign(take.bad),
        escaped(&take.name),
        take.bad.word(),
        escaped(&take.line)
    );
    if let Some(envelope) = &take.envelope {
        html.push_str(&picture::level(take, envelope));
        html.push_str(&spectrum::spectrum(&take.spectra));
    }
    if !take.faults.is_empty() {
        html.push_str("<ul>\n");
        for place in take.worst_first() {
            let fault = &take.faults[place];
            let _ = writeln!(
                html,
                "<li>{} {} → {}</li>",
                picture::sign(fault.bad),
                escaped(&fault.line),
                escaped(&fault.advice)
            );
        }
        html.push_str("</ul>\n");
    }
    cue_list(&take.cues, html);
    for line in &take.details {
        let _ = writeln!(html, "<p class=\"small\">{}</p>", escaped(line));
    }
    html.push_str("</section>\n");
}
