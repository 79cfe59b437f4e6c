//! Where the boxes and wires of a rig stand: columns from left to right, rows from top to bottom, in points.
//!
//! An input stands beside its source, an amplifier beside what it feeds; every wire has a lane of its own before the box
//! that it ends in, for its verdict. Where the text has no room for all columns side by side, the desk's outputs stand
//! below its inputs. Edge cases: without amplifiers their column is left out; an empty drawing has no height.

use eframe::egui::{Rect, pos2, vec2};

use crate::view::plan::{BoxKind, Drawing};

/// Narrower than this at 100 % text, all columns have no room side by side.
const WIDE: f32 = 1040.0;
/// Between two rows.
pub const SPACE: f32 = 8.0;

/// Of a gap what is left of a lane, for the wires' bends, and right of it.
pub const BEND: f32 = 22.0;
const TIP: f32 = 6.0;

/// Columns and the gaps before them, as shares of the width: with amplifiers, without.
type Shares = [(f32, f32); 5];
const SIDE_BY_SIDE: Shares = [(0.0, 0.14), (0.118, 0.135), (0.04, 0.08), (0.118, 0.125), (0.118, 0.126)];
const SIDE_BY_SIDE_PLAIN: Shares = [(0.0, 0.17), (0.12, 0.16), (0.05, 0.12), (0.0, 0.0), (0.13, 0.25)];
const STACKED: Shares = [(0.0, 0.36), (0.28, 0.36), (0.0, 0.19), (0.19, 0.21), (0.19, 0.22)];
const STACKED_PLAIN: Shares = [(0.0, 0.36), (0.28, 0.36), (0.0, 0.32), (0.28, 0.0), (0.0, 0.4)];

pub struct Layout {
    /// One for each box, from the upper left corner of its part.
    pub boxes: Vec<Rect>,
    /// One for each wire that has a verdict: what stands between it and its box. What comes from several boxes over one
    /// cable has one lane.
    pub lanes: Vec<Option<Rect>>,
    /// The wires whose verdict is written, one for each lane.
    pub written: Vec<usize>,
    /// Left edge and width of each column.
    pub columns: [(f32, f32); 5],
    /// Height of what stands before the desk, and of what stands behind it.
    pub parts: [f32; 2],
    /// The second part stands below the first.
    pub stacked: bool,
}

/// Whether something stands before the desk's buses, or behind.
pub fn part(kind: BoxKind) -> usize {
    usize::from(kind > BoxKind::Input)
}

impl Layout {
    /// `row`: height of a row with what is between two.
    pub fn of(drawing: &Drawing, width: f32, row: f32, text: f32) -> Self {
        let stacked = width < WIDE * text;
        let amplified = drawing.boxes.iter().any(|drawn| drawn.kind == BoxKind::Amplifier);
        let columns = columns(width, stacked, amplified);
        let incoming = incoming(drawing);
        let spans: Vec<usize> = incoming.iter().map(|wires| wires.len().max(1)).collect();
        let slots = slots(drawing, &spans);
        let mut parts = [0.0_f32; 2];
        let mut boxes = Vec::with_capacity(drawing.boxes.len());
        for (at, drawn) in drawing.boxes.iter().enumerate() {
            let (left, wide) = columns[drawn.kind as usize];
            let top = slots[at] as f32 * row;
            let tall = spans[at] as f32 * row;
            boxes.push(Rect::from_min_size(pos2(left, top), vec2(wide, tall - SPACE)));
            let part = &mut parts[part(drawn.kind)];
            *part = part.max(top + tall);
        }
        let mut lanes = vec![None; drawing.wires.len()];
        let mut written = Vec::new();
        for (to, wires) in incoming.iter().enumerate() {
            let before = gap_before(drawing.boxes[to].kind, &columns);
            for (lane, cable) in wires.iter().enumerate() {
                let top = boxes[to].top() + lane as f32 * row;
                let rect = Rect::from_x_y_ranges(before.clone(), top..=top + row - SPACE);
                cable.iter().for_each(|wire| lanes[*wire] = Some(rect));
                written.extend(cable.first());
            }
        }
        Self { boxes, lanes, written, columns, parts, stacked }
    }
}

/// Of the gap before a column what a lane takes; the rest is for the wires' bends.
fn gap_before(kind: BoxKind, columns: &[(f32, f32); 5]) -> std::ops::RangeInclusive<f32> {
    let to = columns[kind as usize].0;
    let before = columns[..kind as usize].iter().rev().find(|(_, wide)| *wide > 0.0);
    let from = before.map_or(0.0, |(left, wide)| left + wide).min(to);
    let bend = BEND.min((to - from) / 2.0);
    from + bend..=(to - TIP).max(from + bend)
}

fn columns(width: f32, stacked: bool, amplified: bool) -> [(f32, f32); 5] {
    let shares = match (stacked, amplified) {
        (false, true) => SIDE_BY_SIDE,
        (false, false) => SIDE_BY_SIDE_PLAIN,
        (true, true) => STACKED,
        (true, false) => STACKED_PLAIN,
    };
    let mut at = 0.0;
    let mut columns = [(0.0, 0.0); 5];
    for (column, (kind, (gap, wide))) in columns.iter_mut().zip(BoxKind::ALL.into_iter().zip(shares)) {
        if stacked && kind == BoxKind::Bus {
            at = 0.0;
        }
        *column = ((at + gap) * width, wide * width);
        at += gap + wide;
    }
    columns
}

/// The wires with a verdict that end in each box, cable by cable, in the order of the patch.
fn incoming(drawing: &Drawing) -> Vec<Vec<Vec<usize>>> {
    let mut incoming: Vec<Vec<Vec<usize>>> = vec![Vec::new(); drawing.boxes.len()];
    for (at, wire) in drawing.wires.iter().enumerate().filter(|(_, wire)| wire.label.is_some()) {
        let cables = &mut incoming[wire.to];
        match cables.iter_mut().find(|cable| drawing.wires[cable[0]].label == wire.label) {
            Some(cable) => cable.push(at),
            None => cables.push(vec![at]),
        }
    }
    incoming
}

/// The first row of each box.
fn slots(drawing: &Drawing, spans: &[usize]) -> Vec<usize> {
    let mut slots = vec![0; drawing.boxes.len()];
    let of = |kind: BoxKind| {
        let mut places: Vec<usize> = (0..drawing.boxes.len()).filter(|at| drawing.boxes[*at].kind == kind).collect();
        places.sort_by_key(|at| drawing.boxes[*at].row);
        places
    };
    let number = |at: &usize| {
        drawing.boxes[*at].title.split(' ').next().and_then(|number| number.parse().ok()).unwrap_or(u32::MAX)
    };
    let mut inputs = of(BoxKind::Input);
    inputs.sort_by_key(number);
    for places in [inputs, of(BoxKind::Ears)] {
        let mut next = 0;
        for at in places {
            slots[at] = next;
            next += spans[at];
        }
    }
    // Each beside the first that it feeds.
    for kind in [BoxKind::Source, BoxKind::Amplifier, BoxKind::Bus] {
        let feeds = |at: usize| {
            let fed = drawing.wires.iter().filter(move |wire| wire.from == at && drawing.boxes[wire.to].kind > kind);
            fed.map(|wire| slots[wire.to]).min()
        };
        let mut places: Vec<(usize, usize)> =
            of(kind).into_iter().map(|at| (feeds(at).unwrap_or(usize::MAX), at)).collect();
        places.sort_by_key(|(beside, _)| *beside);
        let mut next = 0;
        for (beside, at) in places {
            slots[at] = if beside == usize::MAX { next } else { next.max(beside) };
            next = slots[at] + spans[at];
        }
    }
    slots
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::plan::{DrawnBox, DrawnWire, Verdict};

    fn drawing(inputs: usize) -> Drawing {
        let mut drawing = Drawing::default();
        let mut add = |kind: BoxKind, title: String| {
            let row = drawing.boxes.iter().filter(|drawn| drawn.kind == kind).count();
            let verdict = Verdict::Fits;
            drawing.boxes.push(DrawnBox { kind, row, title, detail: String::new(), verdict, words: Vec::new() });
            drawing.boxes.len() - 1
        };
        let bus = add(BoxKind::Bus, "main L".into());
        let ears = add(BoxKind::Ears, "Main left".into());
        let mut ways = vec![(bus, ears, true)];
        for number in 1..=inputs {
            let source = add(BoxKind::Source, format!("Voice {number}"));
            let input = add(BoxKind::Input, format!("{number} Voice {number}"));
            ways.extend([(source, input, true), (input, bus, false)]);
        }
        for (from, to, wired) in ways {
            let label = wired.then(|| format!("{from}"));
            let wire = DrawnWire { from, to, label, verdict: Verdict::Fits, closed: false, words: Vec::new() };
            drawing.wires.push(wire);
        }
        drawing
    }

    #[test]
    fn nothing_stands_over_anything_else() {
        for inputs in [0, 1, 3, 48] {
            for (width, text) in [(1140.0, 1.0), (1140.0, 2.0), (1780.0, 1.5), (500.0, 1.0)] {
                let drawing = drawing(inputs);
                let laid = Layout::of(&drawing, width, 64.0 * text, text);
                let mut taken: Vec<(usize, Rect)> = Vec::new();
                let lanes = laid.written.iter().map(|at| (drawing.wires[*at].to, laid.lanes[*at]));
                let lanes = lanes.filter_map(|(to, lane)| Some((drawing.boxes[to].kind, lane?)));
                let boxes = drawing.boxes.iter().zip(&laid.boxes).map(|(drawn, rect)| (drawn.kind, *rect));
                for (kind, rect) in boxes.chain(lanes) {
                    assert!(rect.left() >= 0.0 && rect.right() <= width + 0.1, "{rect:?} of {width}");
                    assert!(rect.width() > 0.0 && rect.bottom() <= laid.parts[part(kind)], "{rect:?}");
                    for (other, place) in &taken {
                        let over = laid.stacked && *other != part(kind);
                        assert!(over || !place.intersects(rect), "{place:?} and {rect:?} at {inputs}, {width}");
                    }
                    taken.push((part(kind), rect));
                }
            }
        }
    }

    #[test]
    fn an_input_stands_beside_its_source() {
        let drawing = drawing(12);
        let laid = Layout::of(&drawing, 1140.0, 64.0, 1.0);
        for wire in drawing.wires.iter().filter(|wire| drawing.boxes[wire.from].kind == BoxKind::Source) {
            assert_eq!(laid.boxes[wire.from].y_range(), laid.boxes[wire.to].y_range());
        }
    }
}
