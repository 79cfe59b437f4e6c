//! The cells of one line of the input list: what is typed in them, and what is wrong with it.
//!
//! Kind, connection and phantom power are chosen, the others typed. A cell counts when it is left or Enter is pressed;
//! until then what was typed is only here. Every field speaks its name.

use eframe::egui::{Align2, ComboBox, RichText, TextEdit, Ui, vec2};

use super::theme::{GAP, Look, TARGET};
use crate::event::{Column, Connection, Input};
use crate::units::SourceKind;
use crate::view::inputs as words;

#[derive(Default)]
pub struct Form {
    /// What stands in the fields.
    cells: Vec<(Column, String)>,
    /// Whether any differs from the line it was filled from.
    filled: Vec<String>,
    wrong: Option<(Column, String)>,
    /// The name's field wants the focus.
    wants_focus: bool,
}

/// A name is what is written most.
const ORDER: [Column; 11] = [
    Column::Name,
    Column::Channel,
    Column::Kind,
    Column::Connection,
    Column::Person,
    Column::Notes,
    Column::Stand,
    Column::Phantom,
    Column::ShowLift,
    Column::PlaceX,
    Column::PlaceY,
];

impl Form {
    /// Shows this line; a cell that can't be read keeps what was typed.
    pub fn fill(&mut self, input: Option<&Input>) {
        self.wrong = None;
        self.cells = input.map_or(Vec::new(), |input| ORDER.map(|column| (column, input.cell(column))).to_vec());
        self.filled = self.cells.iter().map(|(_, text)| text.clone()).collect();
    }

    /// Moves the keyboard to the name.
    pub fn write(&mut self) {
        self.wants_focus = true;
    }

    pub fn is_dirty(&self) -> bool {
        self.cells.iter().zip(&self.filled).any(|((_, now), before)| now != before)
    }

    /// Every cell that differs from the line's own.
    pub fn typed(&self, input: Option<&Input>) -> Vec<(Column, String)> {
        let Some(input) = input else { return Vec::new() };
        self.cells.iter().filter(|(column, text)| input.cell(*column) != *text).cloned().collect()
    }

    pub fn set_wrong(&mut self, column: Column, why: Option<String>) {
        self.wrong = why.map(|why| (column, why));
    }

    /// Draws the fields; a cell that was left with something else in it.
    pub fn ui(&mut self, ui: &mut Ui, look: Look, input: &Input) -> Option<(Column, String)> {
        let two = ui.available_width() / look.text >= 420.0;
        let mut done = None;
        let mut at = 0;
        while at < self.cells.len() {
            let column = self.cells[at].0;
            let long = matches!(column, Column::Name | Column::Notes);
            if two && !long && at + 1 < self.cells.len() && !matches!(self.cells[at + 1].0, Column::Notes) {
                ui.columns(2, |columns| {
                    for (column, index) in columns.iter_mut().zip([at, at + 1]) {
                        self.cell(column, look, input, index, &mut done);
                    }
                });
                at += 2;
            } else {
                self.cell(ui, look, input, at, &mut done);
                at += 1;
            }
        }
        done
    }

    fn cell(&mut self, ui: &mut Ui, look: Look, input: &Input, at: usize, done: &mut Option<(Column, String)>) {
        let (column, text) = &mut self.cells[at];
        let column = *column;
        let quiet = look.palette().quiet;
        let label = ui.label(RichText::new(words::column(column)).font(look.small()).color(quiet));
        let choices: Vec<&str> = match column {
            Column::Kind => SourceKind::ALL.map(SourceKind::word).to_vec(),
            Column::Connection => Connection::ALL.map(Connection::word).to_vec(),
            Column::Phantom => words::YES_NO.to_vec(),
            _ => Vec::new(),
        };
        if choices.is_empty() {
            let wide = ui.available_width();
            let edit = match column {
                Column::Notes => TextEdit::multiline(text).desired_rows(2),
                _ => TextEdit::singleline(text).align(Align2::LEFT_CENTER),
            };
            // A salt of its own: the fields of another line have another memory.
            let edit = edit.id_salt((column, input.channel.number())).desired_width(wide).min_size(vec2(0.0, TARGET));
            let response = ui.add(edit).labelled_by(label.id);
            if column == Column::Name && std::mem::take(&mut self.wants_focus) {
                response.request_focus();
            }
            if response.lost_focus() && *text != input.cell(column) {
                *done = Some((column, text.clone()));
            }
        } else {
            let shown = if text.is_empty() { words::NOT_SAID } else { text.as_str() };
            let wide = ui.available_width() - GAP;
            let chosen = ComboBox::from_id_salt(column).width(wide).height(8.0 * TARGET).selected_text(shown).show_ui(
                ui,
                |ui| {
                    let none = (column != Column::Kind).then_some("");
                    for choice in none.into_iter().chain(choices) {
                        let word = if choice.is_empty() { words::NOT_SAID } else { choice };
                        if ui.selectable_label(text == choice, word).clicked() {
                            *done = Some((column, choice.to_owned()));
                        }
                    }
                },
            );
            chosen.response.labelled_by(label.id);
        }
        if let Some((_, why)) = self.wrong.as_ref().filter(|(of, _)| *of == column) {
            ui.label(RichText::new(why).font(look.strong()));
        }
        ui.add_space(GAP / 4.0);
    }
}
