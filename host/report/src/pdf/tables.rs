//! Tables set as slices: a row each, the head repeated on every page.

use super::blocks::{Frame, Manner, RULE, Setter, lines, plain, quiet, split};
use super::face::Face;
use super::slice::{Head, Ink, Slice, Words};
use super::tags::Group;
use crate::content::{Cell, Table, Text};
use crate::format::percent;
use crate::picture::style::INK;
use crate::picture::{Drawing, sign};
use crate::strings::stops;
use krilla::tagging::{TableHeaderScope, Tag};
use std::rc::Rc;

/// Room between columns, pt.
const GAP: f32 = 10.0;
/// Room above and below the words of a row, pt.
const PAD: f32 = 2.0;

/// Widest figure that is kept on one line, pt.
const UNBROKEN: f32 = 62.0;

/// A cell ready to be set: words, and a small drawing before them.
struct Ready {
    text: Text,
    drawing: Option<Rc<Drawing>>,
}

impl Ready {
    fn of(cell: &Cell) -> Self {
        match cell {
            Cell::Text(text) => Self { text: text.clone(), drawing: None },
            Cell::Sign(reason) => Self {
                text: stops::name(*reason).into(),
                drawing: Some(Rc::new(sign::inline(*reason))),
            },
            Cell::Share(share) => {
                Self { text: percent(*share).into(), drawing: Some(Rc::new(sign::bar(*share))) }
            }
        }
    }

    /// Room the drawing takes, pt.
    fn indent(&self, scale: f32) -> f32 {
        self.drawing.as_ref().map_or(0.0, |drawing| drawing.width as f32 * scale + 5.0)
    }
}

impl Setter<'_> {
    /// A table.
    pub fn table(&mut self, table: &Table, at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let whole = self.tags.group(parent, Tag::Table);
        let setting = self.sizes.cell();
        let first = out.len();
        if !table.caption.is_empty() {
            let group = self.tags.group(whole, Tag::Caption);
            let manner = quiet(setting);
            let text = Text::default().quoted(table.caption.clone());
            let words = self.words(&text, manner, Some(at.width), group);
            lines(&words, at.left, self.sizes.pt(7.0), out);
        }
        let body = plain(setting);
        let bold = Manner { face: Face::Bold, ..body };
        let drawn = self.sizes.pt(0.72);
        let titles: Vec<Ready> = table
            .columns
            .iter()
            .map(|column| Ready { text: column.title.clone().into(), drawing: None })
            .collect();
        let rows: Vec<Vec<Ready>> =
            table.rows.iter().map(|row| row.iter().map(Ready::of).collect()).collect();
        let numeric: Vec<bool> = table.columns.iter().map(|column| column.numeric).collect();
        let widths = self.widths(&titles, &rows, &numeric, at.width, drawn);

        let head_group = self.tags.group(whole, Tag::THead);
        let head_row = self.tags.group(head_group, Tag::TR);
        let mut cells = Vec::new();
        for (title, width) in titles.iter().zip(&widths) {
            let tag = Tag::TH(TableHeaderScope::Column);
            let group = self.tags.group(head_row, tag);
            cells.push(self.words(&title.text, bold, Some(*width), group));
        }
        let across: f32 = widths.iter().sum::<f32>() + GAP * (widths.len().max(1) - 1) as f32;
        let (mut inks, height) = row_inks(&cells, &widths, &numeric, at.left, true);
        inks.push(rule(at.left, height, across, 0.7, INK));
        let head = Rc::new(Head { height: height + 1.0, inks: inks.clone() });
        let before = if out.len() == first { self.sizes.pt(7.0) } else { 1.0 };
        out.push(Slice { height: height + 1.0, before, inks, ..Slice::default() });
        for slice in &mut out[first..] {
            slice.keep = true;
        }

        let body_group = self.tags.group(whole, Tag::TBody);
        let count = rows.len();
        for (number, row) in rows.into_iter().enumerate() {
            let row_group = self.tags.group(body_group, Tag::TR);
            let mut cells = Vec::new();
            let mut drawings = Vec::new();
            let mut x = at.left;
            for (place, (ready, width)) in row.iter().zip(&widths).enumerate() {
                let group = if place == 0 {
                    self.tags.group(row_group, Tag::TH(TableHeaderScope::Row))
                } else {
                    self.tags.group(row_group, Tag::TD)
                };
                let indent = ready.indent(drawn);
                cells.push(self.words(&ready.text, body, Some(width - indent), group));
                if let Some(drawing) = &ready.drawing {
                    let y = PAD + (setting.leading - drawing.height as f32 * drawn) / 2.0;
                    let drawing = Rc::clone(drawing);
                    drawings.push((
                        indent,
                        place,
                        Ink::Drawing { drawing, x, y, scale: drawn, place: None },
                    ));
                }
                x += width + GAP;
            }
            let (mut inks, height) = row_inks(&cells, &widths, &numeric, at.left, false);
            for (indent, place, ink) in drawings {
                for words in &mut inks {
                    if let Ink::Words { words: of, x, .. } = words
                        && Rc::ptr_eq(of, &cells[place])
                    {
                        *x += indent;
                    }
                }
                inks.push(ink);
            }
            inks.push(rule(at.left, height, across, 0.35, RULE));
            out.push(Slice {
                height: height + 0.35,
                keep: number + 2 == count || number == 0 && count > 1,
                inks,
                head: Some(Rc::clone(&head)),
                ..Slice::default()
            });
        }
    }

    /// Widths of the columns: each as wide as its longest cell where there is room for all; else
    /// what is left beyond the unbreakable parts goes to those that need it, by need.
    fn widths(
        &mut self,
        titles: &[Ready],
        rows: &[Vec<Ready>],
        numeric: &[bool],
        width: f32,
        drawn: f32,
    ) -> Vec<f32> {
        let manner = plain(self.sizes.cell());
        let bold = Manner { face: Face::Bold, ..manner };
        let mut least = vec![0.0_f32; titles.len()];
        let mut most = vec![0.0_f32; titles.len()];
        // Figures are read at a glance: short ones stay on one line while there is room.
        let mut firm = vec![0.0_f32; titles.len()];
        let all = std::iter::once((titles, bold)).chain(rows.iter().map(|row| (&row[..], manner)));
        for (row, manner) in all {
            for (column, ready) in row.iter().enumerate().take(titles.len()) {
                let laid = self.faces.lay(&split(&ready.text, manner), None, manner.setting);
                let indent = ready.indent(drawn);
                least[column] = least[column].max(laid.least + indent);
                most[column] = most[column].max(laid.most + indent);
                let unbroken = laid.most + indent <= UNBROKEN && numeric.get(column) == Some(&true);
                let part = if unbroken { laid.most + 0.1 } else { laid.least };
                firm[column] = firm[column].max(part + indent);
            }
        }
        let room = width - GAP * (titles.len().max(1) - 1) as f32;
        share_out(if firm.iter().sum::<f32>() < room { &firm } else { &least }, &most, room)
    }
}

fn share_out(least: &[f32], most: &[f32], room: f32) -> Vec<f32> {
    // A hair more, so that rounding breaks no line that fits.
    let most: Vec<f32> = most.iter().map(|most| most + 0.1).collect();
    let (all_least, all_most): (f32, f32) = (least.iter().sum(), most.iter().sum());
    if all_most <= room {
        return most;
    }
    if all_least >= room {
        return least.iter().map(|least| least * room / all_least).collect();
    }
    let share = (room - all_least) / (all_most - all_least);
    least.iter().zip(&most).map(|(least, most)| least + (most - least) * share).collect()
}

fn rule(x: f32, y: f32, width: f32, height: f32, colour: u32) -> Ink {
    Ink::Rect { x, y, width, height, colour }
}

/// The words of a row, and its height. Heads stand on the rule, rows hang from it.
fn row_inks(
    cells: &[Rc<Words>],
    widths: &[f32],
    numeric: &[bool],
    left: f32,
    head: bool,
) -> (Vec<Ink>, f32) {
    let height = |words: &Rc<Words>| words.laid.lines.iter().map(|line| line.height).sum::<f32>();
    let tallest = cells.iter().map(height).fold(0.0, f32::max);
    let mut inks = Vec::new();
    let mut x = left;
    for ((words, width), numeric) in cells.iter().zip(widths).zip(numeric) {
        let mut y = PAD + if head { tallest - height(words) } else { 0.0 };
        for (line, of) in words.laid.lines.iter().enumerate() {
            let x = if *numeric { x + width - of.width } else { x };
            inks.push(Ink::Words { words: Rc::clone(words), line, x, y });
            y += of.height;
        }
        x += width + GAP;
    }
    (inks, tallest + 2.0 * PAD)
}

#[cfg(test)]
mod tests {
    use super::share_out;

    #[test]
    fn columns_share_the_room() {
        let near = |a: &[f32], b: &[f32]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 0.2);
        assert!(near(&share_out(&[10.0, 10.0], &[20.0, 30.0], 100.0), &[20.0, 30.0]));
        let tight = share_out(&[10.0, 20.0], &[10.0, 120.0], 80.0);
        assert!(near(&tight, &[10.0, 70.0]), "{tight:?}");
        assert!(near(&share_out(&[60.0, 60.0], &[90.0, 90.0], 60.0), &[30.0, 30.0]));
    }
}
