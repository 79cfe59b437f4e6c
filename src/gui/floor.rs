//! The stage floor from above, audience at the bottom edge: a token for each input, a shape, a name, a word.
//!
//! Where the input list has places, tokens stand there (metres from the middle of the front edge); else they stand in
//! rows in the order of the list, the first in front. The one to act on is larger. Clicking a token takes its channel at
//! hand. With more tokens than the floor can hold legibly, the table takes its place.

use eframe::egui::{Align2, Pos2, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::shapes;
use super::theme::{Look, TARGET, bold, regular};
use crate::engine::ChannelState;
use crate::units::ChannelId;

/// One performer.
pub struct Token<'a> {
    pub channel: ChannelId,
    pub name: &'a str,
    pub state: ChannelState,
    /// The state's word as it is shown.
    pub word: &'a str,
    /// Metres to the right of the middle, and from the front edge.
    pub place: Option<(f64, f64)>,
    pub wanted: bool,
}

/// A token's room at 100 % text.
const ROOM: (f32, f32) = (150.0, 104.0);

/// Whether so many tokens can be read on a floor of this size.
pub fn holds(count: usize, width: f32, height: f32, look: Look) -> bool {
    let per_row = (width / (ROOM.0 * look.text)).floor().max(1.0);
    let rows = (height / (ROOM.1 * look.text)).floor().max(1.0);
    count as f32 <= per_row * rows
}

/// Draws the floor; the channel whose token was chosen.
pub fn floor(ui: &mut Ui, look: Look, tokens: &[Token], rect: Rect) -> Option<ChannelId> {
    let palette = look.palette();
    let painter = ui.painter().clone();
    painter.rect_filled(rect, 8.0, palette.floor);
    painter.line_segment([rect.left_bottom(), rect.right_bottom()], Stroke::new(3.0, palette.text));
    painter.text(rect.right_bottom() - vec2(10.0, 6.0), Align2::RIGHT_BOTTOM, "audience", look.small(), palette.quiet);
    let mut chosen = None;
    for (token, centre) in tokens.iter().zip(places(tokens, rect.shrink2(vec2(20.0, 12.0)), look)) {
        let size = if token.wanted { 46.0 } else { 32.0 } * look.text.min(1.5);
        let name = if token.wanted { bold(20.0 * look.text) } else { regular(16.0 * look.text) };
        let (wide, tall) = (ROOM.0 * look.text, ROOM.1 * look.text);
        let around = Rect::from_center_size(centre, vec2(wide.max(TARGET), tall.max(TARGET)));
        let response = ui.interact(around, ui.scope_id().with(("token", token.channel.index())), Sense::click());
        let label = format!("{} {}: {}", token.channel.number(), token.name, token.word);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &label));
        if response.has_focus() || response.hovered() {
            painter.rect_stroke(around, 6.0, Stroke::new(2.0, palette.quiet), eframe::egui::StrokeKind::Inside);
        }
        if response.clicked() {
            chosen = Some(token.channel);
        }
        let top = centre.y - tall / 2.0 + size / 2.0 + 6.0;
        shapes::state(&painter, palette, token.state, pos2(centre.x, top), size);
        let letters =
            super::fit(&painter, &format!("{} {}", token.channel.number(), token.name), name, palette.text, wide - 8.0);
        let below = top + size / 2.0 + 9.0;
        let line = letters.size().y;
        painter.galley(pos2(centre.x - letters.size().x / 2.0, below), letters, palette.text);
        painter.text(pos2(centre.x, below + line), Align2::CENTER_TOP, token.word, look.small(), palette.quiet);
    }
    chosen
}

/// The centre of each token.
fn places(tokens: &[Token], rect: Rect, look: Look) -> Vec<Pos2> {
    let inner = rect.shrink2(vec2(ROOM.0 * look.text / 2.0, ROOM.1 * look.text / 2.0));
    let known: Option<Vec<(f64, f64)>> = tokens.iter().map(|token| token.place).collect();
    if let Some(known) = known.filter(|known| !known.is_empty()) {
        let widest = known.iter().map(|(x, _)| x.abs()).fold(1.0, f64::max);
        let deepest = known.iter().map(|(_, y)| *y).fold(1.0, f64::max);
        let at = |(x, y): (f64, f64)| {
            let across = (0.5 + 0.5 * x / widest) as f32;
            pos2(inner.left() + across * inner.width(), inner.bottom() - (y / deepest) as f32 * inner.height())
        };
        return known.into_iter().map(at).collect();
    }
    let per_row = ((rect.width() / (ROOM.0 * look.text)).floor() as usize).max(1);
    let rows = tokens.len().div_ceil(per_row).max(1);
    let per_row = tokens.len().div_ceil(rows).max(1);
    (0..tokens.len())
        .map(|index| {
            let (row, column) = (index / per_row, index % per_row);
            let in_row = per_row.min(tokens.len() - row * per_row);
            let x = rect.left() + rect.width() * (column as f32 + 0.5) / in_row as f32;
            // Every other row a little to the side, as people stand.
            let y = rect.bottom() - rect.height() * (row as f32 + 0.5) / rows as f32;
            pos2(x, y)
        })
        .collect()
}
