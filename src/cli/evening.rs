//! What is kept of an evening, at the terminal: who may be recorded is asked once, what happened is told.

use std::io::{self, IsTerminal};

use anyhow::bail;

use super::out;
use super::soundcheck::ask;
use crate::event::Consent;
use crate::view::evening::News;
use crate::view::{Setup, multitrack, numbers};

/// As a line of its own; what is nothing for other programs as a note.
pub fn tell(news: &News, json: bool) -> io::Result<()> {
    if news.record.is_null() {
        out::note(&news.text);
        return Ok(());
    }
    if json {
        return out::json(&news.record);
    }
    let sign = if news.is_alert { '!' } else { ' ' };
    out::line(&format!("{:>7}  {sign} {}", numbers::clock(news.at), news.text))
}

/// Who may be recorded: as the event says, else asked once and stored there; in a pipe nobody can be asked.
pub fn consent(setup: &mut Setup) -> anyhow::Result<Consent> {
    let Some(event) = &setup.event else { bail!(multitrack::NO_EVENT) };
    if let Some(consent) = &event.settings.recording {
        return Ok(consent.clone());
    }
    if !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
        bail!(multitrack::unasked(event.folder()));
    }
    out::line(multitrack::ASKED_ONCE)?;
    for (name, number) in setup.names.iter().zip(1..).filter(|(name, _)| !name.is_empty()) {
        out::line(&format!("{number:>3}  {name}"))?;
    }
    let barred = until(multitrack::WHO, multitrack::NOBODY, multitrack::channels)?;
    let delete_after = until(multitrack::UNTIL, multitrack::NO_DAY, multitrack::day)?;
    let consent = Consent { barred, delete_after };
    setup.keep_consent(&consent)?;
    Ok(consent)
}

/// Asks until the answer is understood.
fn until<T>(question: &str, usual: &str, understand: impl Fn(&str) -> Option<T>) -> io::Result<T> {
    loop {
        if let Some(answer) = understand(&ask(question, usual)?) {
            return Ok(answer);
        }
        out::line(multitrack::NOT_UNDERSTOOD)?;
    }
}
