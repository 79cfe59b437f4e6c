//! Looks once a second whether an event's files have changed, and wakes the window when they have.
//!
//! Watched are the tables and settings of the folder and of the one above (the hall and the store cupboard may lie
//! there), and what event.toml names elsewhere. It ends by itself when it is dropped. Edge cases: a file that goes or
//! comes is a change; a folder that can't be read has no files.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

use eframe::egui::Context;

const BETWEEN: Duration = Duration::from_secs(1);

pub struct Watch(Arc<AtomicBool>);

type Seen = BTreeMap<PathBuf, (Option<SystemTime>, u64)>;

impl Watch {
    pub fn start(folder: &Path, context: &Context) -> Self {
        let changed = Arc::new(AtomicBool::new(false));
        let (told, context, folder) = (Arc::downgrade(&changed), context.clone(), folder.to_owned());
        let mut last = look(&folder);
        let watching = move || {
            loop {
                std::thread::sleep(BETWEEN);
                let Some(changed) = told.upgrade() else { return };
                let now = look(&folder);
                if now != last {
                    last = now;
                    changed.store(true, Ordering::Release);
                    context.request_repaint();
                }
            }
        };
        // Without it the files are read by a key.
        let _ = std::thread::Builder::new().name("plan files".into()).spawn(watching);
        Self(changed)
    }

    /// Since this was asked last.
    pub fn has_changed(&self) -> bool {
        self.0.swap(false, Ordering::AcqRel)
    }
}

fn look(folder: &Path) -> Seen {
    let above = folder.join("..");
    let folders = [folder, &above];
    let listed = folders.iter().filter_map(|folder| fs::read_dir(folder).ok()).flatten().flatten();
    let tables = listed.map(|entry| entry.path()).filter(|path| {
        path.extension().is_some_and(|kind| kind.eq_ignore_ascii_case("toml") || kind.eq_ignore_ascii_case("csv"))
    });
    // The ticks of a line check are no part of the plan.
    let tables = tables.filter(|path| path.file_name().is_none_or(|name| name != "linecheck.csv"));
    let named = named(&fs::read_to_string(folder.join("event.toml")).unwrap_or_default());
    let paths = tables.chain(named.into_iter().map(|name| folder.join(name)));
    paths
        .filter_map(|path| {
            let known = fs::metadata(&path).ok()?;
            Some((path, (known.modified().ok(), known.len())))
        })
        .collect()
}

/// Where event.toml says that hall and store cupboard are.
fn named(settings: &str) -> Vec<String> {
    let value = |line: &str| {
        let (key, value) = line.split_once('=')?;
        let wanted = matches!(key.trim(), "venue" | "gear");
        wanted.then(|| value.split('#').next().unwrap_or_default().trim().trim_matches(['"', '\'']).to_owned())
    };
    settings.lines().take_while(|line| !line.trim_start().starts_with('[')).filter_map(value).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_comes_or_goes_is_a_change() {
        let folder = tempfile::tempdir().unwrap();
        let event = folder.path().join("concert");
        fs::create_dir_all(folder.path().join("store")).unwrap();
        fs::create_dir(&event).unwrap();
        fs::write(event.join("event.toml"), "gear = \"../store/gear.csv\" # ours\n[[bus]]\nvenue = \"no\"\n").unwrap();
        let mut last = look(&event);
        let mut changes = |act: &dyn Fn()| {
            act();
            let now = look(&event);
            std::mem::replace(&mut last, now.clone()) != now
        };
        assert!(!changes(&|| {}));
        assert!(changes(&|| fs::write(event.join("patch.csv"), "wire").unwrap()));
        assert!(changes(&|| fs::write(event.join("patch.csv"), "wires").unwrap()));
        assert!(changes(&|| fs::write(folder.path().join("venue.toml"), "").unwrap()));
        assert!(changes(&|| fs::write(folder.path().join("store/gear.csv"), "gear").unwrap()));
        assert!(!changes(&|| fs::write(event.join("linecheck.csv"), "channel").unwrap()));
        assert!(!changes(&|| fs::write(event.join("take.wav"), "").unwrap()));
        assert!(changes(&|| fs::remove_file(event.join("patch.csv")).unwrap()));
        assert_eq!(named("gear='a b.csv'\nname = \"venue = x\"\n"), ["a b.csv"]);
    }
}
