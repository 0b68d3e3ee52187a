//! The grid of cells that the terminal's plot is drawn on.

use unicode_width::UnicodeWidthStr;

use super::range::{Limit, Place};
use super::terminal::{Page, Signs, cut};
use super::{Band, Group, Seen, View, dates, grouped, range};
use crate::report::{axes, number};

/// Cells, row 0 on top.
pub(super) struct Grid {
    cells: Vec<Vec<char>>,
    columns: usize,
    rows: usize,
    x: (f64, f64),
    y: (f64, f64),
    unicode: bool,
}

impl Grid {
    /// Draws the plot onto the page. Returns the limits.
    pub(super) fn draw(
        view: &View,
        width: usize,
        rows: usize,
        unicode: bool,
        page: &mut Page,
    ) -> Vec<Limit> {
        let y = range::levels(view);
        let limits = range::limits(view, y);
        let ticks = axes::labelled(y.0, y.1, (rows as f64 / 3.0).clamp(2.0, 6.0));
        let marked = |l: &Limit| {
            let sign = match (l.highest, unicode) {
                (true, true) => "≤",
                (false, true) => "≥",
                (true, false) => "<=",
                (false, false) => ">=",
            };
            format!("{sign} {}", number::plain(l.level))
        };
        let names = ticks
            .iter()
            .map(|t| t.1.clone())
            .chain(limits.iter().map(marked));
        let gutter = names
            .map(|n| n.width())
            .max()
            .unwrap_or(0)
            .clamp(3, width / 3);
        let columns = width - gutter - 3;
        let mut grid = Grid {
            cells: vec![vec![' '; columns]; rows],
            columns,
            rows,
            x: range::days(view),
            y,
            unicode,
        };
        let mut labels: Vec<Option<String>> = vec![None; rows];
        for (level, text) in ticks {
            if let Some(row) = grid.row(level) {
                labels[row].get_or_insert(text);
            }
        }
        for band in &view.bands {
            grid.band(band);
        }
        let days = dates::ticks(grid.x.0, grid.x.1, view.offset_seconds, columns / 10);
        let events = grid.events(view);
        for limit in &limits {
            if let Some(row) = grid.row(limit.level) {
                labels[row] = Some(marked(limit));
                grid.cells[row].fill(Signs::of(unicode).limit);
            }
        }
        for band in &view.bands {
            grid.line(band);
        }
        grid.crossing(view);
        grid.bars(view);
        grid.marks(view);
        page.unit(view, gutter);
        grid.onto(page, gutter, &labels, &limits);
        grid.dates(page, gutter, &days, &events);
        limits
    }

    fn column(&self, day: f64) -> Option<usize> {
        let at = (day - self.x.0) / (self.x.1 - self.x.0);
        (0.0..=1.0)
            .contains(&at)
            .then(|| ((at * self.columns as f64) as usize).min(self.columns - 1))
    }

    /// Rows from the top edge, with parts of a row.
    fn depth(&self, level: f64) -> f64 {
        (self.y.1 - level) / (self.y.1 - self.y.0) * self.rows as f64
    }

    fn row(&self, level: f64) -> Option<usize> {
        (self.y.0..=self.y.1)
            .contains(&level)
            .then(|| (self.depth(level) as usize).min(self.rows - 1))
    }

    /// The row of a level, or the edge beyond which it lies.
    fn edge_row(&self, level: f64) -> usize {
        (self.depth(level).max(0.0) as usize).min(self.rows - 1)
    }

    /// The day in the middle of a part of a column: part 0 or 1 of 2.
    fn day(&self, column: usize, part: usize) -> f64 {
        let at = (column as f64 + 0.25 + 0.5 * part as f64) / self.columns as f64;
        self.x.0 + at * (self.x.1 - self.x.0)
    }

    fn band(&mut self, band: &Band) {
        let sign = Signs::of(self.unicode).band;
        for column in 0..self.columns {
            let Some((_, low, high)) =
                along(band, (self.day(column, 0) + self.day(column, 1)) / 2.0)
            else {
                continue;
            };
            let (top, bottom) = (self.depth(high), self.depth(low));
            for row in 0..self.rows {
                // A cell belongs to the band if its middle does.
                if (top..=bottom).contains(&(row as f64 + 0.5)) {
                    self.cells[row][column] = sign;
                }
            }
        }
    }

    /// Columns of the events with their numbers; lines in the grid where nothing else is.
    fn events(&mut self, view: &View) -> Vec<(usize, String)> {
        let s = Signs::of(self.unicode);
        let mut shown = Vec::new();
        for (i, e) in view.events.iter().enumerate() {
            if let Some(column) = self.column(e.day) {
                shown.push((i + 1, column as f64, e.split));
                for row in &mut self.cells {
                    if e.split || row[column] != s.split {
                        row[column] = if e.split { s.split } else { s.event };
                    }
                }
            }
        }
        let text = |g: &Group| format!("({})", g.text().replace('\u{2013}', "-"));
        grouped(&shown, |g| text(g).len() as f64 + 1.0)
            .iter()
            .map(|g| (g.at.round() as usize, text(g)))
            .collect()
    }

    /// The line: dots of half a column and a quarter row, or the nearest of three heights; forecast every other one.
    fn line(&mut self, band: &Band) {
        for column in 0..self.columns {
            let mut dots = [0u8; 2];
            let mut found: Option<(usize, f64)> = None;
            for (part, dot) in dots.iter_mut().enumerate() {
                let day = self.day(column, part);
                let Some((level, _, _)) = along(band, day) else {
                    continue;
                };
                let depth = self.depth(level);
                if !(0.0..self.rows as f64).contains(&depth) {
                    continue;
                }
                let row = depth as usize;
                let later = day > band.last_day;
                if later && (part == 1 || (!self.unicode && column % 2 == 1)) {
                    continue;
                }
                if found.is_none_or(|f| f.0 == row) {
                    *dot = 1 + ((depth - row as f64) * 4.0) as u8;
                    found.get_or_insert((row, depth - row as f64));
                }
            }
            let Some((row, within)) = found else {
                continue;
            };
            self.cells[row][column] = if self.unicode {
                braille(dots)
            } else if self.day(column, 0) > band.last_day {
                '-'
            } else {
                // The overline of ASCII is the quote.
                if within < 0.33 {
                    '"'
                } else if within < 0.67 {
                    '-'
                } else {
                    '_'
                }
            };
        }
    }

    fn crossing(&mut self, view: &View) {
        let Some(c) = view.crossing else {
            return;
        };
        let Some(row) = self.row(c.limit) else {
            return;
        };
        let latest = c.latest.unwrap_or(f64::INFINITY);
        for column in 0..self.columns {
            let (a, b) = (self.day(column, 0), self.day(column, 1));
            if b >= c.earliest && a <= latest {
                self.cells[row][column] = Signs::of(self.unicode).crossing;
            }
        }
    }

    fn bars(&mut self, view: &View) {
        let s = Signs::of(self.unicode);
        for mark in &view.marks {
            let Some(column) = self.column(mark.day) else {
                continue;
            };
            let (high, low, sign) = match mark.seen {
                Seen::Value { low, high, .. } => (high, low, s.bar),
                Seen::Below(bound) => (bound, 0.0f64.min(bound), s.bound),
                Seen::Above(bound) => (self.y.1, bound, s.bound),
            };
            let (top, bottom) = (self.edge_row(high), self.edge_row(low));
            for row in top..=bottom {
                self.cells[row][column] = sign;
            }
            if matches!(mark.seen, Seen::Value { .. }) {
                // Cut at the edge.
                if high > self.y.1 {
                    self.cells[top][column] = s.over;
                }
                if low < self.y.0 {
                    self.cells[bottom][column] = s.under;
                }
            }
        }
    }

    /// Trusted readings last, so that none hides behind a doubtful one.
    fn marks(&mut self, view: &View) {
        let s = Signs::of(self.unicode);
        for doubtful in [true, false] {
            for mark in view.marks.iter().filter(|m| m.doubtful == doubtful) {
                if let Some(column) = self.column(mark.day) {
                    let row = self.edge_row(mark.seen.number());
                    self.cells[row][column] = s.mark(mark);
                }
            }
        }
    }

    fn onto(&self, page: &mut Page, gutter: usize, labels: &[Option<String>], limits: &[Limit]) {
        let s = Signs::of(self.unicode);
        let blank = " ".repeat(gutter + 2);
        let away = |page: &mut Page, place: Place, sign: char, side: &str| {
            for limit in limits.iter().filter(|l| l.place == place) {
                page.line(&format!("{blank}{sign} {}, {side} this plot", limit.text));
            }
        };
        away(page, Place::Over, s.over, "over");
        for (row, label) in self.cells.iter().zip(labels) {
            let cells: String = row.iter().collect();
            let (label, side) = match label {
                Some(l) => (cut(l, gutter).0, s.level),
                None => ("", s.side),
            };
            page.line(&format!(
                "{}{label} {side}{cells}",
                " ".repeat(gutter - label.width())
            ));
        }
        away(page, Place::Under, s.under, "under");
    }

    /// The floor with ticks and the numbers of events, the dates and the years below.
    fn dates(
        &self,
        page: &mut Page,
        gutter: usize,
        days: &[dates::Tick],
        events: &[(usize, String)],
    ) {
        let s = Signs::of(self.unicode);
        let mut floor = vec![s.floor; self.columns];
        let mut rows = [vec![' '; self.columns + 1], vec![' '; self.columns + 1]];
        for tick in days {
            let Some(column) = self.column(tick.day) else {
                continue;
            };
            floor[column] = s.tick;
            for (row, text) in rows.iter_mut().zip([Some(&tick.label), tick.year.as_ref()]) {
                let text: Vec<char> = text.map(|t| t.chars().collect()).unwrap_or_default();
                let from = column
                    .saturating_sub(text.len() / 2)
                    .min(row.len().saturating_sub(text.len()));
                // A space before and after keeps two dates apart.
                let around = from.saturating_sub(1)..(from + text.len() + 1).min(row.len());
                if row[around].iter().all(|c| *c == ' ') {
                    row[from..from + text.len()].copy_from_slice(&text);
                }
            }
        }
        for (column, text) in events {
            let from = column
                .saturating_sub(text.len() / 2)
                .min(self.columns.saturating_sub(text.len()));
            for (cell, c) in floor[from..].iter_mut().zip(text.chars()) {
                *cell = c;
            }
        }
        let blank = " ".repeat(gutter + 2);
        let floor: String = floor.iter().collect();
        page.line(&format!("{} {}{floor}", " ".repeat(gutter), s.corner));
        for row in rows {
            let text: String = row.iter().collect();
            if !text.trim().is_empty() {
                page.line(&format!("{blank}{text}"));
            }
        }
        page.lines.push(String::new());
    }
}

/// Level, low and high of a line on a day, `None` where it is not.
fn along(band: &Band, day: f64) -> Option<(f64, f64, f64)> {
    let after = band.points.partition_point(|p| p.day < day);
    let (a, b) = (
        band.points.get(after.checked_sub(1)?)?,
        band.points.get(after)?,
    );
    let t = (day - a.day) / (b.day - a.day);
    let between = |a: f64, b: f64| a + t * (b - a);
    Some((
        between(a.level, b.level),
        between(a.low, b.low),
        between(a.high, b.high),
    ))
}

/// A cell with a dot in either half, at height 1 (top) to 4, 0 for none (Unicode block 2800, dots 1 2 3 7 and 4 5 6 8).
fn braille(dots: [u8; 2]) -> char {
    const BITS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
    let mut code = 0x2800;
    for (side, dot) in dots.into_iter().enumerate() {
        if dot > 0 {
            code |= BITS[side][usize::from(dot - 1).min(3)];
        }
    }
    char::from_u32(code).unwrap_or(' ')
}
