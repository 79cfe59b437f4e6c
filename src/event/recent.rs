//! What the window was left with: the event's folder and the look. One small file in the person's own settings.
//!
//! Edge cases: a file that is missing, broken or of another form counts as none; an event that has gone is not opened.

use std::path::{Path, PathBuf};

use directories::ProjectDirs;
use serde::{Deserialize, Serialize};

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

fn file() -> Option<PathBuf> {
    ProjectDirs::from("", "", "beforedoors").map(|folders| folders.config_dir().join("recent.json"))
}

impl Recent {
    /// As the window was left.
    pub fn read() -> Self {
        file().map_or_else(Self::default, |file| Self::read_from(&file))
    }

    fn read_from(file: &Path) -> Self {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        let mut recent: Self = serde_json::from_str(&text).unwrap_or_default();
        recent.event = recent.event.filter(|folder| folder.join("event.toml").is_file());
        recent
    }

    /// Where nothing can be kept, nothing is.
    pub fn keep(&self) -> Result<(), EventError> {
        file().map_or(Ok(()), |file| self.keep_in(&file))
    }

    fn keep_in(&self, file: &Path) -> Result<(), EventError> {
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|cause| EventError::Unwritable { path: folder.to_owned(), cause })?;
        }
        save::replace(file, serde_json::json!(self).to_string().as_bytes())
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
        kept.keep_in(&file).unwrap();
        assert_eq!(Recent::read_from(&file), Recent { event: None, ..kept.clone() });
        std::fs::create_dir(&event).unwrap();
        std::fs::write(event.join("event.toml"), "version = 1\n").unwrap();
        assert_eq!(Recent::read_from(&file), kept);
        std::fs::write(&file, "{ broken").unwrap();
        assert_eq!(Recent::read_from(&file), Recent::default());
    }
}
