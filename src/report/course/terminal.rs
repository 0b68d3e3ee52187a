//! The course of one test in one water in characters, for a terminal or a mail. Needs no colour; without Unicode, ASCII.
//!
//! A grid of cells under words: what was first and last, then the plot, then the key and the events by number. A filled or
//! capital sign is a trusted reading, an open or small one a doubtful one.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::grid::Grid;
use super::range::{Limit, Place};
use super::{Band, Mark, Seen, View, dates, range, words};
use crate::report::text::clean;

/// Narrower than this, the plot is told in words alone.
const LEAST_WIDTH: usize = 40;
/// Rows of the grid that a plot needs and that a terminal may have.
const ROWS: (usize, usize) = (6, 200);
/// Columns that a plot may have.
const MOST_WIDTH: usize = 1000;
/// Events that are told.
const MOST_EVENTS: usize = 30;

/// The plot in lines of at most `width` columns, the grid of readings `height` rows high (6 to 200); title, dates, key and
/// events come on top. Below 40 columns, or if a day or level is not a finite number, only words.
pub fn plot(view: &View, width: usize, height: usize, unicode: bool) -> String {
    let width = width.min(MOST_WIDTH);
    let mut page = Page {
        lines: Vec::new(),
        width,
        unicode,
    };
    match view.tamed() {
        Ok(view) => {
            if width < LEAST_WIDTH {
                page.words("", &view.title);
                page.words("", &words::description(&view));
            } else {
                page.head(&view);
                if view.has_course() {
                    let limits = Grid::draw(
                        &view,
                        width,
                        height.clamp(ROWS.0, ROWS.1),
                        unicode,
                        &mut page,
                    );
                    page.key(&view, &limits);
                }
                page.events(&view, range::days(&view));
            }
        }
        Err(e) => {
            page.words("", &view.title);
            page.words("", &e.what);
        }
    }
    while page.lines.last().is_some_and(String::is_empty) {
        page.lines.pop();
    }
    page.lines.join("\n") + "\n"
}

/// The signs of a plot.
pub(super) struct Signs {
    /// Read from a photo, by eye, below, above: trusted and doubtful.
    pub(super) photo: [char; 2],
    pub(super) eye: [char; 2],
    pub(super) below: [char; 2],
    pub(super) above: [char; 2],
    pub(super) bar: char,
    pub(super) band: char,
    pub(super) limit: char,
    pub(super) crossing: char,
    pub(super) event: char,
    pub(super) split: char,
    pub(super) side: char,
    pub(super) level: char,
    pub(super) corner: char,
    pub(super) floor: char,
    pub(super) tick: char,
    pub(super) bound: char,
    pub(super) over: char,
    pub(super) under: char,
}

const UNICODE: Signs = Signs {
    photo: ['●', '○'],
    eye: ['■', '□'],
    below: ['▼', '▽'],
    above: ['▲', '△'],
    bar: '┃',
    band: '░',
    limit: '═',
    crossing: '▓',
    event: '┊',
    split: '║',
    side: '│',
    level: '┤',
    corner: '└',
    floor: '─',
    tick: '┬',
    bound: '╷',
    over: '↑',
    under: '↓',
};

const ASCII: Signs = Signs {
    photo: ['O', 'o'],
    eye: ['E', 'e'],
    below: ['V', 'v'],
    above: ['A', 'a'],
    bar: '|',
    band: '.',
    limit: '=',
    crossing: '#',
    event: ':',
    split: '!',
    side: '|',
    level: '+',
    corner: '+',
    floor: '-',
    tick: '+',
    bound: ',',
    over: '^',
    under: 'v',
};

impl Signs {
    pub(super) fn of(unicode: bool) -> &'static Signs {
        if unicode { &UNICODE } else { &ASCII }
    }

    pub(super) fn mark(&self, mark: &Mark) -> char {
        let kind = match mark.seen {
            Seen::Value { .. } if mark.by_eye => self.eye,
            Seen::Value { .. } => self.photo,
            Seen::Below(_) => self.below,
            Seen::Above(_) => self.above,
        };
        kind[usize::from(mark.doubtful)]
    }
}

/// Lines that never pass the width.
pub(super) struct Page {
    pub(super) lines: Vec<String>,
    width: usize,
    unicode: bool,
}

impl Page {
    /// Text fit for the terminal: nothing that steers it, ASCII if it must be.
    pub(super) fn fit(&self, text: &str) -> String {
        let mut out = String::new();
        for c in clean(text).chars() {
            match c {
                c if c.is_ascii() => out.push(c),
                // A combining accent stays with its letter; other letters without width may turn the line's direction.
                c if self.unicode
                    && (c.width() > Some(0) || ('\u{300}'..'\u{370}').contains(&c)) =>
                {
                    out.push(c)
                }
                _ if self.unicode => (),
                '\u{b5}' | '\u{3bc}' => out.push('u'),
                '…' => out += "...",
                '–' | '—' | '−' => out.push('-'),
                _ => out.push('?'),
            }
        }
        out
    }

    /// A line of the drawing.
    pub(super) fn line(&mut self, text: &str) {
        let text = cut(text.trim_end(), self.width).0;
        self.lines.push(text.to_owned());
    }

    /// Text broken where the width ends; all its lines begin in the column where `first` ends.
    fn words(&mut self, first: &str, text: &str) {
        let text = self.fit(text);
        let indent = first.width().min(self.width / 2);
        let room = self.width - indent;
        let mut begin = cut(first, indent).0.to_owned();
        let mut line = String::new();
        let mut flush = |line: &mut String, lines: &mut Vec<String>| {
            lines.push(format!("{begin}{line}"));
            begin = " ".repeat(indent);
            line.clear();
        };
        for word in text.split_whitespace() {
            if !line.is_empty() && line.width() + 1 + word.width() > room {
                flush(&mut line, &mut self.lines);
            }
            if !line.is_empty() {
                line.push(' ');
            }
            let mut rest = word;
            while rest.width() > room {
                let (head, tail) = cut(rest, room);
                if head.is_empty() {
                    break;
                }
                line += head;
                flush(&mut line, &mut self.lines);
                rest = tail;
            }
            line += cut(rest, room).0;
        }
        flush(&mut line, &mut self.lines);
    }

    fn head(&mut self, view: &View) {
        self.words("", &view.title);
        self.words("", &words::summary(view));
        if let Some(crossing) = words::crossing(view) {
            self.words("", &crossing);
        }
        self.lines.push(String::new());
    }

    /// The unit over the labels of the levels.
    pub(super) fn unit(&mut self, view: &View, gutter: usize) {
        let unit = self.fit(&view.unit);
        let before = gutter.saturating_sub(unit.width());
        self.line(&format!("{}{unit}", " ".repeat(before)));
    }

    /// What the signs mean, only those that are there.
    fn key(&mut self, view: &View, limits: &[Limit]) {
        let s = Signs::of(self.unicode);
        let mut entries: Vec<String> = Vec::new();
        let mut mark = |sign: char, text: &str, is: &dyn Fn(&Mark) -> bool| {
            let alike: Vec<_> = view.marks.iter().filter(|m| is(m)).collect();
            if alike.is_empty() {
                return;
            }
            let mut entry = format!("{sign} {} {text}", alike.len());
            // Bounds have one sign, however they were told.
            let by_eye = alike.iter().filter(|m| m.by_eye).count();
            if by_eye > 0 && !text.starts_with("by eye") {
                entry += &format!(" ({by_eye} by eye)");
            }
            entries.push(entry);
        };
        let value = |m: &Mark| matches!(m.seen, Seen::Value { .. });
        let below = |m: &Mark| matches!(m.seen, Seen::Below(_));
        let above = |m: &Mark| matches!(m.seen, Seen::Above(_));
        mark(s.photo[0], "measured", &|m| {
            value(m) && !m.by_eye && !m.doubtful
        });
        mark(s.photo[1], "doubtful", &|m| {
            value(m) && !m.by_eye && m.doubtful
        });
        mark(s.eye[0], "by eye", &|m| value(m) && m.by_eye && !m.doubtful);
        mark(s.eye[1], "by eye, doubtful", &|m| {
            value(m) && m.by_eye && m.doubtful
        });
        mark(s.below[0], "below this", &|m| below(m) && !m.doubtful);
        mark(s.below[1], "below this, doubtful", &|m| {
            below(m) && m.doubtful
        });
        mark(s.above[0], "above this", &|m| above(m) && !m.doubtful);
        mark(s.above[1], "above this, doubtful", &|m| {
            above(m) && m.doubtful
        });
        let ranged = |m: &Mark| matches!(m.seen, Seen::Value { low, high, .. } if high > low);
        if view.marks.iter().any(ranged) {
            entries.push(format!("{} interval", s.bar));
        }
        let (line, later) = if self.unicode {
            ("⠒⠒", "⠂⠂")
        } else {
            ("_-\"", "- -")
        };
        let parts: Vec<_> = view.bands.iter().map(Band::parts).collect();
        if parts.iter().any(|p| p.0.len() > 1) {
            entries.push(format!("{line} line"));
        }
        if parts.iter().any(|p| p.1.len() > 1) {
            entries.push(format!("{later} if it goes on like this"));
        }
        if !parts.is_empty() {
            entries.push(format!("{} where the line may lie", s.band));
        }
        if limits.iter().any(|l| l.place == Place::Inside) {
            entries.push(format!("{} limit", s.limit));
        }
        let reached = |c: super::Crossing| {
            limits
                .iter()
                .any(|l| l.level == c.limit && l.place == Place::Inside)
        };
        if view.crossing.is_some_and(reached) {
            entries.push(format!("{} when it may get there", s.crossing));
        }
        let mut line = String::new();
        for entry in entries {
            if !line.is_empty() && line.width() + 3 + entry.width() > self.width {
                self.line(&line);
                line.clear();
            }
            if !line.is_empty() {
                line += "   ";
            }
            line += &entry;
        }
        if !line.is_empty() {
            self.line(&line);
        }
    }

    fn events(&mut self, view: &View, shown: (f64, f64)) {
        let out = |day: f64| !(shown.0..=shown.1).contains(&day);
        let with_year = words::needs_year(view) || view.events.iter().any(|e| out(e.day));
        for (i, e) in view.events.iter().enumerate().take(MOST_EVENTS) {
            let date = dates::date(e.day, view.offset_seconds, with_year);
            let wide = if with_year { 11 } else { 6 };
            let first = format!("{:>4}  {date:>wide$}  ", format!("({})", i + 1));
            let text = words::event(view, i + 1, shown);
            self.words(&first, &text);
        }
        let more = view.events.len().saturating_sub(MOST_EVENTS);
        if more > 0 {
            self.words("      ", &format!("and {more} more"));
        }
    }
}

/// Text cut to so many columns, and the rest.
pub(super) fn cut(text: &str, columns: usize) -> (&str, &str) {
    let mut end = 0;
    for (i, c) in text.char_indices() {
        let next = i + c.len_utf8();
        if text[..next].width() > columns {
            break;
        }
        end = next;
    }
    text.split_at(end)
}
