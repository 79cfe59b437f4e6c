//! Sheets as HTML with a print style: black on white, hairlines, 11 points, one sheet after the other.
//!
//! CSS paged media (`@page`). Rows are never cut by a page's end; headings are repeated. Edge cases: long words break;
//! text from outside is escaped.

use std::fmt::Write;

use crate::view::plan::{Page, PageKind};

const STYLE: &str = "\
*{box-sizing:border-box}\
body{font:11pt/1.15 'Liberation Sans',Arial,'DejaVu Sans',sans-serif;color:#000;background:#fff;margin:0}\
section{break-after:page}section:last-child{break-after:auto}\
.walk section{break-after:auto;margin-bottom:4mm}h1,thead{break-after:avoid}#stage-plot{break-inside:avoid}\
h1{font-size:16pt;margin:0 0 1mm}h1 small{font-size:11pt;font-weight:400}\
p{margin:0 0 1.5mm}\
table{border-collapse:collapse;width:calc(100% - 1mm);margin:1mm .5mm 2mm}\
th,td{border:.3mm solid #000;padding:.2mm 1mm;text-align:left;vertical-align:top;overflow-wrap:break-word}\
th{border-bottom-width:.7mm;overflow-wrap:normal}td:empty:after{content:'\\00a0'}\
thead{display:table-header-group}tr{break-inside:avoid}\
.tick,.short{white-space:nowrap;width:1%}.part{width:19%}\
i{display:inline-block;width:4.2mm;height:4.2mm;border:.4mm solid #000;vertical-align:top;margin:.2mm 1mm}\
ul{margin:1mm 0 0;padding-left:5mm;border-top:.3mm solid #000;padding-top:1mm}li{margin:0}\
svg{display:block;width:100%;height:auto;max-height:190mm}";

/// SVG that belongs to sheets: the stage plot, the hall's seats.
#[derive(Clone, Copy)]
pub struct Drawings<'a> {
    pub plot: &'a str,
    pub hall: &'a str,
}

/// One document with these sheets.
pub fn document(pages: &[Page], drawings: Drawings, letter: bool) -> String {
    whole(pages, drawings, letter, "")
}

/// The same without a new page for each sheet: as few pages as will do.
pub fn together(pages: &[Page], drawings: Drawings, letter: bool) -> String {
    whole(pages, drawings, letter, " class=\"walk\"")
}

fn whole(pages: &[Page], drawings: Drawings, letter: bool, class: &str) -> String {
    let (size, name) = if letter { ("letter", "Letter") } else { ("A4", "A4") };
    let title = pages.first().map_or_else(String::new, |page| escaped(&page.event));
    let mut html = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{title}</title>\n\
         <style>@page{{size:{size} portrait;margin:9mm}}{STYLE}</style>\n</head>\n<body data-paper=\"{name}\"{class}>\n"
    );
    for page in pages {
        sheet(page, drawings, &mut html);
    }
    html.push_str("</body>\n</html>\n");
    html
}

fn sheet(page: &Page, drawings: Drawings, html: &mut String) {
    // Writing to a string cannot fail.
    let _ = writeln!(
        html,
        "<section id=\"{}\">\n<h1>{} <small>{}</small></h1>",
        page.kind.slug(),
        page.kind.title(),
        escaped(&page.event)
    );
    for note in &page.notes {
        let _ = writeln!(html, "<p>{}</p>", escaped(note));
    }
    match page.kind {
        PageKind::Stage => html.push_str(drawings.plot),
        PageKind::Hall => {
            html.push_str(drawings.hall);
            table(page, html);
        }
        _ => table(page, html),
    }
    if !page.cautions.is_empty() {
        html.push_str("<ul>\n");
        for caution in &page.cautions {
            let _ = writeln!(html, "<li>{}</li>", escaped(caution.words()));
        }
        html.push_str("</ul>\n");
    }
    html.push_str("</section>\n");
}

fn table(page: &Page, html: &mut String) {
    let classes: Vec<&str> = (0..page.columns.len()).map(|column| class(page, column)).collect();
    html.push_str("<table>\n<thead><tr>");
    for (heading, class) in page.columns.iter().zip(&classes) {
        let _ = write!(html, "<th{class}>{}</th>", escaped(heading));
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for row in &page.rows {
        html.push_str("<tr>");
        for (cell, class) in row.iter().zip(&classes) {
            // A drawn box needs no font that has one.
            let shown = if cell == "☐" { "<i></i>".to_owned() } else { unbroken(&escaped(cell)) };
            let _ = write!(html, "<td{class}>{shown}</td>");
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
}

/// A column of boxes to tick, of words so short that they need no room, or of both ends of a wire.
fn class(page: &Page, column: usize) -> &'static str {
    const SHORT: usize = 6;
    let mut cells = page.rows.iter().filter_map(|row| row.get(column)).filter(|cell| !cell.is_empty()).peekable();
    let some = cells.peek().is_some();
    if some && cells.clone().all(|cell| cell == "☐") {
        " class=\"tick\""
    } else if some && cells.all(|cell| cell.chars().count() <= SHORT) {
        " class=\"short\""
    } else if page.kind == PageKind::Patch && (2..5).contains(&column) {
        // Both ends and the lead.
        " class=\"part\""
    } else {
        ""
    }
}

/// A number and its unit stay on one line.
fn unbroken(cell: &str) -> String {
    [" m (", " ft)", " mm²"]
        .iter()
        .fold(cell.to_owned(), |cell, unit| cell.replace(unit, &unit.replacen(' ', "&nbsp;", 1)))
}

/// For HTML and SVG.
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
