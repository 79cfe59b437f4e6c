//! Plain lines for pipes and logs: one when the step changes, a table at the end.

use super::out;
use crate::engine::{Advice, ChannelState, Snapshot};
use crate::units::{ChannelId, Seconds};
use crate::view::{self, DeskWords, numbers, records};

/// "3 Soloist", or "3" without a name.
pub fn who(channel: Option<ChannelId>, names: &[String]) -> String {
    let Some(channel) = channel else { return String::new() };
    match names.get(channel.index()) {
        Some(name) if !name.is_empty() => format!("{} {name}", channel.number()),
        _ => format!("{}", channel.number()),
    }
}

/// A step that has just come up.
pub fn step(at: Seconds, advice: &Advice, names: &[String], desk: &DeskWords, json: bool) -> std::io::Result<()> {
    let words = view::next_step(advice, &who(advice.channel, names), desk);
    if json {
        return out::json(&records::step(at, advice, &words));
    }
    out::line(&format!("{:>7}  {} {}", numbers::clock(at), words.arrow.sign(), words.sentence))?;
    out::line(&format!("         {} · {}", words.then, words.proof))
}

/// Every input, as it stands.
pub fn table(snapshot: &Snapshot, names: &[String], json: bool) -> std::io::Result<()> {
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(4);
    for (index, input) in snapshot.inputs.iter().enumerate() {
        let channel = ChannelId::from_index(index);
        let name = names.get(index).map_or("", String::as_str);
        let peak = input.heard.loudest;
        if json {
            out::json(&records::input(channel, name, input.state, peak, input.trims))?;
            continue;
        }
        let (state, loudest) = (input.state, numbers::level(peak));
        let trims = if input.trims == 1 { "1 trim".into() } else { format!("{} trims", input.trims) };
        out::line(&format!(
            "{:>3}  {name:width$}  {}  loudest {loudest:>6} dBFS  {trims}",
            channel.number(),
            state_cell(state)
        ))?;
    }
    Ok(())
}

/// Shape and word, always equally wide.
pub fn state_cell(state: ChannelState) -> String {
    format!("{} {:9}", view::shape(state), view::word(state))
}
