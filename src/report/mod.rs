//! What is printed: a report on recordings ([`takes`]); the sheets of a plan as files: one HTML page to print everything, one for each sheet, CSV, the stage plot and the hall as SVG.
//!
//! For A4 or Letter, on a black-and-white printer, at 11 points and more; nothing is fetched from anywhere. Names `view`
//! only. Edge cases: empty sheets are written with their headings; text is escaped, whatever it holds.

mod csv;
mod html;
mod seats;
mod stage;
mod takes;

pub use takes::takes;

use crate::view::plan::{PageKind, Plan, Seating, pages, stage_plot};

/// Every file of the sheets: name and text.
pub fn files(plan: &Plan, letter: bool) -> Vec<(String, String)> {
    let pages = pages(plan);
    let plot = stage::svg(&stage_plot(plan));
    let hall = seats::svg(&Seating::of(plan));
    let drawings = html::Drawings { plot: &plot, hall: &hall };
    let mut files = vec![("all.html".to_owned(), html::document(&pages, drawings, letter))];
    // What is taped to the stage box: three sheets, one print.
    let walk: Vec<_> = pages
        .iter()
        .filter(|page| matches!(page.kind, PageKind::Inputs | PageKind::Patch | PageKind::Stage))
        .cloned()
        .collect();
    files.push(("patch-walk.html".to_owned(), html::together(&walk, drawings, letter)));
    for page in &pages {
        let slug = page.kind.slug();
        files.push((format!("{slug}.html"), html::document(std::slice::from_ref(page), drawings, letter)));
        files.push((format!("{slug}.csv"), csv::text(page)));
    }
    files.push(("stage-plot.svg".to_owned(), plot));
    files.push(("hall.svg".to_owned(), hall));
    files
}
