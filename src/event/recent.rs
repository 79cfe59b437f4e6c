//! What the window was left with: the event's folder and the look. One small file in the person's own settings.
//!
//! Edge cases: a file that is missing, broken or of another form counts as none; an event that has gone is not opened.

use std::path::{Path, PathBuf};

use directories::ProjectDirs;
use serde::{Deserialize, Serialize};

use super::carried;
use super::error::EventError;
use super::save;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Recent {
    pub event: Option<PathBuf>,
    pub bright: bool,
    pub still: bool,
    /// Feet beside metres.
    pub feet: bool,
    /// The size of text; 0: as usual.
    pub text: f32,
}

/// The file, and the folder that moves with it from machine to machine, if one does.
fn place() -> Option<(PathBuf, Option<PathBuf>)> {
    const NAME: &str = "recent.json";
    if let Some(folder) = carried::settings_folder() {
        let whole = folder.parent().map(Path::to_owned);
        return Some((folder.join(NAME), whole));
    }
    ProjectDirs::from("", "", "beforedoors").map(|folders| (folders.config_dir().join(NAME), None))
}

impl Recent {
    /// As the window was left.
    pub fn read() -> Self {
        place().map_or_else(Self::default, |(file, carried)| Self::read_from(&file, carried.as_deref()))
    }

    fn read_from(file: &Path, carried: Option<&Path>) -> Self {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        let mut recent: Self = serde_json::from_str(&text).unwrap_or_default();
        let event = recent.event.map(|event| carried.map_or_else(|| event.clone(), |carried| carried.join(&event)));
        recent.event = event.filter(|folder| folder.join("event.toml").is_file());
        recent
    }

    /// Where nothing can be kept, nothing is.
    pub fn keep(&self) -> Result<(), EventError> {
        place().map_or(Ok(()), |(file, carried)| self.keep_in(&file, carried.as_deref()))
    }

    /// An event that is carried along is named by its way from there.
    fn keep_in(&self, file: &Path, carried: Option<&Path>) -> Result<(), EventError> {
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|cause| EventError::Unwritable { path: folder.to_owned(), cause })?;
        }
        let from_there =
            |event: &Path| carried.and_then(|carried| event.strip_prefix(carried).ok()).map(Path::to_owned);
        let event = self.event.as_ref().map(|event| from_there(event).unwrap_or_else(|| event.clone()));
        let kept = Self { event, ..self.clone() };
        save::replace(file, serde_json::json!(kept).to_string().as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_comes_back_and_an_event_that_has_gone_does_not() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("settings/recent.json");
        let event = folder.path().join("concert");
        let kept = Recent { event: Some(event.clone()), bright: true, still: false, feet: true, text: 1.5 };
        kept.keep_in(&file, None).unwrap();
        assert_eq!(Recent::read_from(&file, None), Recent { event: None, ..kept.clone() });
        std::fs::create_dir(&event).unwrap();
        std::fs::write(event.join("event.toml"), "version = 1\n").unwrap();
        assert_eq!(Recent::read_from(&file, None), kept);
        std::fs::write(&file, "{ broken").unwrap();
        assert_eq!(Recent::read_from(&file, None), Recent::default());
    }

    #[test]
    fn an_event_that_is_carried_along_is_found_under_another_name_of_the_stick() {
        let folder = tempfile::tempdir().unwrap();
        let (here, there) = (folder.path().join("here"), folder.path().join("there"));
        std::fs::create_dir_all(here.join("concert")).unwrap();
        std::fs::write(here.join("concert/event.toml"), "version = 1\n").unwrap();
        let kept = Recent { event: Some(here.join("concert")), ..Recent::default() };
        kept.keep_in(&here.join("settings/recent.json"), Some(&here)).unwrap();
        std::fs::rename(&here, &there).unwrap();
        let read = Recent::read_from(&there.join("settings/recent.json"), Some(&there));
        assert_eq!(read.event, Some(there.join("concert")));
    }
}
