//! Plain lines for pipes and logs: one entry when the step changes, a table at the end.

use std::io;

use super::out;
use crate::engine::{Advice, ChannelState, Snapshot};
use crate::units::{ChannelId, Seconds};
use crate::view::Setup;
use crate::view::numbers::{self, counted};
use crate::view::{self, DeskWords, records, who};

/// A step that has just come up; `states` tells how the inputs stand at the end.
pub fn step(
    at: Seconds,
    advice: &Advice,
    states: impl Iterator<Item = ChannelState> + Clone,
    setup: &Setup,
    json: bool,
) -> io::Result<()> {
    let desk = setup.desk.without_a_marker();
    let next = view::next_step(advice, &who(advice.channel, &setup.names), &desk).with_the_end(states);
    if json {
        return out::json(&records::step(at, advice, &next));
    }
    out::line(&format!("{:>7}  {} {}", numbers::clock(at), next.arrow.sign(), next.sentence))?;
    out::line(&format!("           {}", next.then))?;
    out::line(&format!("           {}", next.proof))
}

/// Every input, as it stands.
pub fn table(snapshot: &Snapshot, names: &[String], desk: &DeskWords, json: bool) -> io::Result<()> {
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(4);
    for (index, input) in snapshot.inputs.iter().enumerate() {
        let channel = ChannelId::from_index(index);
        let name = names.get(index).map_or("", String::as_str);
        let heard = &input.heard;
        if json {
            out::json(&records::input(channel, name, input.state, heard, input.trims))?;
            continue;
        }
        let scale = desk.scale();
        let shown = view::shown(input.state, heard.active, heard.hits);
        let loudest = format!("loudest {:>6} {}", scale.number(heard.loudest), scale.unit());
        let columns = loudest.chars().count();
        let told =
            if shown == view::NOT_ENOUGH { view::heard_of(heard.active, heard.hits, input.need) } else { loudest };
        out::line(&format!(
            "{:>3}  {name:width$}  {}  {told:columns$}  window {:>7}  {}",
            channel.number(),
            state_cell(input.state, shown),
            scale.window(input.window),
            counted(input.trims.into(), "trim", "trims")
        ))?;
    }
    Ok(())
}

/// Shape and word, always equally wide.
pub fn state_cell(state: ChannelState, shown: &str) -> String {
    format!("{} {shown:10}", view::shape(state))
}
