//! Who may be recorded, as it was answered once an event, and how long recordings may be kept: `[recording]`.
//!
//! Edge cases: without `asked = true` nobody was asked, whatever else stands there; a barred channel need not be listed.

use toml_edit::{Item, TableLike};

use super::error::Doubt;
use super::settings::{Reader, date};
use super::when::Date;
use crate::units::ChannelId;

const KEYS: [&str; 3] = ["asked", "barred", "delete_after"];

/// The answer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Consent {
    /// Never recorded.
    pub barred: Vec<ChannelId>,
    /// The last day on which recordings should be there.
    pub delete_after: Option<Date>,
}

impl Consent {
    /// The last day, once it is past.
    pub fn overdue(&self, today: Date) -> Option<Date> {
        self.delete_after.filter(|last| today > *last)
    }
}

pub(super) fn read(reader: &mut Reader, event: &dyn TableLike) -> Option<Consent> {
    let item = event.get("recording")?;
    let Some(table) = item.as_table_like() else {
        reader.wrong(
            item,
            "recording",
            "a part of the file",
            "a line [recording] above asked, barred and delete_after",
        );
        return None;
    };
    reader.within = "recording, ".to_owned();
    reader.unknown_keys(table, &KEYS);
    let asked = reader.value(table, "asked", "an answer", "true or false", Item::as_bool);
    let barred = reader.channels(table, "barred", None, Doubt::BarredTwice);
    let delete_after = reader.value(table, "delete_after", "a date", "a day such as 2027-03-12", date);
    reader.within.clear();
    (asked == Some(true)).then_some(Consent { barred, delete_after })
}
