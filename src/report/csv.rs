//! A sheet as CSV (RFC 4180, UTF-8): headings, then rows; the boxes to tick are left empty.

use crate::view::plan::Page;

pub fn text(page: &Page) -> String {
    let rows = page.rows.iter().map(|row| row.iter().map(|cell| guarded(cell)).collect::<Vec<_>>());
    table(std::iter::once(page.columns.iter().map(|heading| (*heading).to_owned()).collect()).chain(rows))
}

/// Rows of cells, the headings first.
pub fn table<R: IntoIterator<Item = String>>(rows: impl Iterator<Item = R>) -> String {
    let mut lines = csv::Writer::from_writer(Vec::new());
    let mut written = Ok(());
    for row in rows {
        written = written.and_then(|()| lines.write_record(row));
    }
    let bytes = written.ok().and_then(|()| lines.into_inner().ok()).unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// A spreadsheet takes a cell that begins like a formula for one; a name may.
pub fn guarded(cell: &str) -> String {
    let plain = cell.replace('☐', "");
    let number = plain.parse::<f64>().is_ok();
    if !number && plain.starts_with(['=', '+', '-', '@', '\t']) { format!("'{plain}") } else { plain }
}
