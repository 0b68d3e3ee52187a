//! The course of one test in one water as a picture: SVG for a page, and the same drawing as a PNG.
//!
//! In the SVG, letters are text, and a title and a description in words stand for the drawing where it cannot be seen.
//! Colours are classes, so that it follows the light or dark ground that its reader asks for. It loads nothing and runs
//! nothing. Every kind of thing has a shape of its own: filled or open, round, square or pointed, solid, dashed or fenced.

use std::fmt::Write;

use resvg::{tiny_skia, usvg};

use super::clip::{self, Edge};
use super::pen::{Pen, badge, badge_width, broken, diamond, fitted, interval, symbol, width};
use super::range::{Limit, Place};
use super::{Band, Crossing, Mark, Seen, View, dates, grouped, range, words};
use crate::error::{Error, Result};
use crate::report::axes::{self, Frame};
use crate::report::svg;

/// Where the drawing will be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// In a page, or in a file opened by itself: colours follow the reader's choice of light or dark, prints are light.
    Page,
    /// In a page on a phone, which loads [`stylesheet`] itself: half as wide.
    Phone,
    /// On white paper, in the built-in typeface.
    Paper,
}

/// Width of the drawing in its own units; a letter of 15 is read well at 600 pixels and more.
const WIDTH: f64 = 800.0;
/// The same on a phone, whose 360 pixels show a letter of 15 at 12 pixels.
const NARROW: f64 = 400.0;
/// Left and right of everything.
pub(super) const MARGIN: f64 = 16.0;
/// Height of the frame with the readings.
const HEIGHT: f64 = 300.0;
/// Height of the row above the frame where events are named.
const LANE: f64 = 28.0;
pub(super) const LETTER: f64 = 15.0;
const TITLE: f64 = 20.0;
/// Height of a row of text.
pub(super) const ROW: f64 = 21.0;
/// Pixels of the PNG for one unit of the drawing.
const SCALE: f32 = 1.6;

/// Colours on a light ground. Contrast of letters at least 4.5 to 1 (WCAG 2.2, 1.4.3), of lines and marks 3 to 1 (1.4.11).
const LIGHT: &str = "\
.course-ground{fill:#ffffff}.course-ink{fill:#1c1c1c}.course-quiet{fill:#5a5a5a}\
.course-grid{stroke:#e3e3e3;fill:none}.course-frame{stroke:#5a5a5a;fill:none}\
.course-band{fill:#b9c3cf;fill-opacity:0.55}.course-later{fill:#b9c3cf;fill-opacity:0.25}\
.course-rim{stroke:#7b8794;fill:none}.course-line{stroke:#24568c;fill:none}\
.course-bar{stroke:#1c1c1c;fill:none}.course-full{stroke:#1c1c1c;fill:#1c1c1c}.course-open{stroke:#1c1c1c;fill:#ffffff}\
.course-limit{stroke:#a03c12;fill:none}.course-limit-text{fill:#a03c12}\
.course-event{stroke:#5a5a5a;fill:none}.course-badge{stroke:#5a5a5a;fill:#ffffff}.course-split{stroke:#1c1c1c;fill:#1c1c1c}\
.course-on-split{fill:#ffffff}";

/// The same on a dark ground.
const DARK: &str = "\
.course-ground{fill:#15191d}.course-ink{fill:#ededed}.course-quiet{fill:#adb5bd}\
.course-grid{stroke:#2e353b}.course-frame{stroke:#adb5bd}\
.course-band{fill:#56697d;fill-opacity:0.55}.course-later{fill:#56697d;fill-opacity:0.3}\
.course-rim{stroke:#8593a1}.course-line{stroke:#8fc2f2}\
.course-bar{stroke:#ededed}.course-full{stroke:#ededed;fill:#ededed}.course-open{stroke:#ededed;fill:#15191d}\
.course-limit{stroke:#ff9c6e}.course-limit-text{fill:#ff9c6e}\
.course-event{stroke:#adb5bd}.course-badge{stroke:#adb5bd;fill:#15191d}.course-split{stroke:#ededed;fill:#ededed}\
.course-on-split{fill:#15191d}";

/// The plot as SVG.
///
/// # Errors
/// If a day or level is not a finite number.
pub fn svg(view: &View, style: Style) -> Result<String> {
    let view = view.tamed()?;
    let mut pen = Pen {
        body: String::new(),
        escape: match style {
            Style::Page | Style::Phone => svg::quoted,
            Style::Paper => svg::escaped,
        },
    };
    let wide = match style {
        Style::Page | Style::Paper => WIDTH,
        Style::Phone => NARROW,
    };
    let height = Plot::new(&view, wide).draw(&mut pen).ceil();
    let (faces, style) = match style {
        Style::Page => (
            "Cabin,system-ui,sans-serif",
            format!("<style>{}</style>", stylesheet()),
        ),
        Style::Phone => ("Cabin,system-ui,sans-serif", String::new()),
        Style::Paper => ("Cabin", format!("<style>{LIGHT}</style>")),
    };
    Ok(format!(
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {wide} {height}' role='img' font-family='{faces}' font-size='{LETTER}'>\
         <title>{}</title><desc>{}</desc>{style}\
         <rect class='course-ground' width='{wide}' height='{height}'/>{}</svg>",
        (pen.escape)(&view.title),
        (pen.escape)(&words::description(&view)),
        pen.body
    ))
}

/// The colours of plots, light and dark: a page whose policy forbids styles inside of it loads them as a file.
pub fn stylesheet() -> String {
    format!("{LIGHT}@media screen and (prefers-color-scheme:dark){{{DARK}}}")
}

/// The plot as a PNG on white, 1280 pixels wide.
///
/// # Errors
/// If a day or level is not a finite number, or the picture cannot be painted.
pub fn png(view: &View) -> Result<Vec<u8>> {
    paint(&svg(view, Style::Paper)?).ok_or_else(|| {
        Error::new(
            "the plot of the readings cannot be painted",
            "show the readings without a plot",
        )
    })
}

fn paint(text: &str) -> Option<Vec<u8>> {
    let tree = svg::tree(text)?;
    let size = tree.size();
    let mut canvas = tiny_skia::Pixmap::new(
        (size.width() * SCALE).round() as u32,
        (size.height() * SCALE).round() as u32,
    )?;
    canvas.fill(tiny_skia::Color::WHITE);
    resvg::render(
        &tree,
        usvg::Transform::from_scale(SCALE, SCALE),
        &mut canvas.as_mut(),
    );
    svg::png(&canvas)
}

/// One drawing: a view and where things go.
pub(super) struct Plot<'a> {
    pub(super) view: &'a View,
    /// Width of the drawing.
    pub(super) wide: f64,
    pub(super) frame: Frame,
    limits: Vec<Limit>,
    /// Radius of a mark: many are drawn small.
    radius: f64,
}

impl<'a> Plot<'a> {
    fn new(view: &'a View, wide: f64) -> Plot<'a> {
        let levels = range::levels(view);
        let limits = range::limits(view, levels);
        let widest = |texts: &mut dyn Iterator<Item = String>| {
            texts.map(|t| width(&t, LETTER)).fold(0.0, f64::max)
        };
        let ticks = axes::labelled(levels.0, levels.1, 5.0);
        let left = widest(&mut ticks.into_iter().map(|t| t.1))
            .max(width(&view.unit, LETTER))
            .clamp(24.0, 120.0);
        let right = widest(&mut limits.iter().map(|l| l.text.clone()));
        let left = MARGIN + left + 10.0;
        Plot {
            view,
            wide,
            frame: Frame {
                left,
                top: 0.0,
                w: wide - left - MARGIN - if right > 0.0 { right + 24.0 } else { 8.0 },
                h: HEIGHT,
                x: range::days(view),
                y: levels,
            },
            limits,
            radius: match view.marks.len() {
                0..=60 => 5.0,
                61..=150 => 3.8,
                _ => 2.8,
            },
        }
    }

    fn right(&self) -> f64 {
        self.frame.left + self.frame.w
    }

    fn bottom(&self) -> f64 {
        self.frame.top + self.frame.h
    }

    fn edge(&self) -> Edge {
        Edge {
            x: (self.frame.left, self.right()),
            y: (self.frame.top, self.bottom()),
        }
    }

    /// Draws all and returns the height it takes.
    fn draw(mut self, pen: &mut Pen) -> f64 {
        let mut y = 11.0;
        let wide = self.wide - 2.0 * MARGIN;
        let bold = format!(" font-size='{TITLE}' font-weight='600'");
        for line in broken(&self.view.title, TITLE, wide, 2) {
            y += ROW + 2.0;
            pen.text((MARGIN, y), "start", "course-ink", &bold, &line);
        }
        let more = words::crossing(self.view);
        for text in [Some(words::summary(self.view)), more]
            .into_iter()
            .flatten()
        {
            for line in broken(&text, LETTER, wide, 3) {
                y += ROW + 2.0;
                pen.text((MARGIN, y), "start", "course-ink", "", &line);
            }
        }
        if !self.view.has_course() {
            return self.list(pen, y + ROW + 8.0) - ROW + 20.0;
        }
        self.frame.top = y + 20.0 + LANE;
        self.grid(pen);
        for band in &self.view.bands {
            self.area(pen, band);
        }
        self.draw_limits(pen);
        let listed = self.events(pen);
        for band in &self.view.bands {
            self.line(pen, band);
        }
        self.crossing(pen);
        for mark in &self.view.marks {
            self.mark(pen, mark);
        }
        let (l, t, r, b) = (self.frame.left, self.frame.top, self.right(), self.bottom());
        pen.line(&[(l, t), (l, b), (r, b)], "course-frame", 1.2, "");
        let y = self.key(pen, b + 71.0);
        let y = if listed { self.list(pen, y + 8.0) } else { y };
        y - ROW + 20.0
    }

    fn grid(&self, pen: &mut Pen) {
        let f = &self.frame;
        let unit = fitted(&self.view.unit, LETTER, f.left - 8.0);
        pen.text(
            (f.left - 10.0, f.top - 14.0),
            "end",
            "course-quiet",
            "",
            &unit,
        );
        for (level, label) in axes::labelled(f.y.0, f.y.1, 5.0) {
            let (x, y) = f.at(f.x.0, level);
            pen.line(&[(x, y), (x + f.w, y)], "course-grid", 1.0, "");
            let class = "course-quiet course-level";
            pen.text((x - 10.0, y + 5.0), "end", class, "", &label);
        }
        let most = (f.w / 76.0) as usize;
        for tick in dates::ticks(f.x.0, f.x.1, self.view.offset_seconds, most) {
            let (x, y) = f.at(tick.day, f.y.0);
            pen.line(&[(x, y), (x, f.top)], "course-grid", 1.0, "");
            pen.line(&[(x, y), (x, y + 6.0)], "course-frame", 1.2, "");
            let class = "course-quiet course-day";
            pen.text((x, y + 24.0), "middle", class, "", &tick.label);
            if let Some(year) = &tick.year {
                pen.text((x, y + 43.0), "middle", "course-quiet", "", year);
            }
        }
    }

    /// The band: what rests on readings is filled, forecast is paler within a dashed rim.
    fn area(&self, pen: &mut Pen, band: &Band) {
        let (fitted, later) = band.parts();
        for (points, class) in [(fitted, "course-band"), (later, "course-later")] {
            let upper: Vec<_> = points
                .iter()
                .map(|p| self.frame.at(p.day, p.high))
                .collect();
            let lower: Vec<_> = points.iter().map(|p| self.frame.at(p.day, p.low)).collect();
            let rim: Vec<_> = upper.iter().chain(lower.iter().rev()).copied().collect();
            let area = clip::area(&rim, self.edge());
            if area.len() > 2 {
                pen.shape(&area, class, 0.0);
            }
            if class == "course-later" {
                for rim in [upper, lower] {
                    for piece in clip::line(&rim, self.edge()) {
                        pen.line(&piece, "course-rim", 1.0, "3 5");
                    }
                }
            }
        }
    }

    fn line(&self, pen: &mut Pen, band: &Band) {
        let (fitted, later) = band.parts();
        for (points, dash) in [(fitted, ""), (later, "9 6")] {
            let points: Vec<_> = points
                .iter()
                .map(|p| self.frame.at(p.day, p.level))
                .collect();
            for piece in clip::line(&points, self.edge()) {
                pen.line(&piece, "course-line", 2.6, dash);
            }
        }
    }

    /// Limits are fences: a line with strokes towards the side that is not good. One far away is told at the edge.
    fn draw_limits(&self, pen: &mut Pen) {
        let (l, r) = (self.frame.left, self.right());
        // Labels in the margin keep a row between them; both limits may lie at one level.
        let mut free = f64::NEG_INFINITY;
        let mut limits: Vec<&Limit> = self.limits.iter().collect();
        limits.sort_by(|a, b| b.level.total_cmp(&a.level));
        let last = limits.len().saturating_sub(1);
        for (i, limit) in limits.into_iter().enumerate() {
            let out = if limit.highest { -1.0 } else { 1.0 };
            let y = match limit.place {
                Place::Inside => self.frame.at(self.frame.x.0, limit.level).1,
                Place::Over => self.frame.top + 6.0,
                Place::Under => self.bottom() - 6.0,
            };
            if limit.place == Place::Inside {
                pen.line(&[(l, y), (r, y)], "course-limit", 1.8, "");
                let mut strokes = String::new();
                let mut x = l + 5.0;
                while x < r - 5.0 {
                    let _ = write!(strokes, "M{x:.1} {y:.1}l5 {:.1}", 7.0 * out);
                    x += 15.0;
                }
                pen.raw(format_args!("<path class='course-limit' d='{strokes}'/>"));
            }
            let room = (last - i) as f64 * 19.0;
            let text_y = (y + 5.0).max(free).min(self.bottom() + 5.0 - room);
            free = text_y + 19.0;
            let mut x = r + 8.0;
            if limit.place != Place::Inside {
                let up = if limit.place == Place::Over {
                    1.0
                } else {
                    -1.0
                };
                let (px, py) = (x + 5.0, text_y - 5.0);
                let tip = [
                    (px - 5.0, py + 4.0 * up),
                    (px + 5.0, py + 4.0 * up),
                    (px, py - 5.0 * up),
                ];
                pen.raw(format_args!("<g class='course-limit-text'>"));
                pen.shape(&tip, "course-arrow", 0.0);
                pen.raw(format_args!("</g>"));
                x += 15.0;
            }
            pen.text((x, text_y), "start", "course-limit-text", "", &limit.text);
        }
    }

    /// Events as lines, named above the frame if there is room, else numbered. Returns whether they are listed below.
    fn events(&self, pen: &mut Pen) -> bool {
        let f = &self.frame;
        let shown: Vec<(usize, f64, bool)> = self
            .view
            .events
            .iter()
            .enumerate()
            .filter(|(_, e)| (f.x.0..=f.x.1).contains(&e.day))
            .map(|(i, e)| (i + 1, f.at(e.day, f.y.0).0, e.split))
            .collect();
        for &(_, x, split) in &shown {
            let upright = |x: f64| [(x, f.top - 4.0), (x, self.bottom())];
            if split {
                pen.line(&upright(x - 2.0), "course-event", 1.3, "");
                pen.line(&upright(x + 2.0), "course-event", 1.3, "");
            } else {
                pen.line(&upright(x), "course-event", 1.3, "2 3");
            }
        }
        if let Some(labels) = self.names(&shown) {
            for ((_, x, split), (middle, label)) in shown.iter().zip(labels) {
                let bold = if *split { " font-weight='600'" } else { "" };
                pen.text(
                    (middle, f.top - 12.0),
                    "middle",
                    "course-ink course-name",
                    bold,
                    &label,
                );
                if *split {
                    diamond(pen, (*x, f.top - 2.0));
                }
            }
            return shown.len() < self.view.events.len();
        }
        let groups = grouped(&shown, |g| badge_width(&g.text()) + 5.0);
        for group in groups {
            // The unit stands to the left.
            let x = group
                .at
                .max(f.left - 4.0 + badge_width(&group.text()) / 2.0);
            badge(pen, (x, f.top - 16.0), &group.text(), group.split);
        }
        true
    }

    /// Places and labels of events in one row, `None` if they do not fit or one has none.
    fn names(&self, shown: &[(usize, f64, bool)]) -> Option<Vec<(f64, String)>> {
        let mut free = self.frame.left;
        let mut found = Vec::new();
        for &(number, x, _) in shown {
            let label = self.view.events[number - 1].label.trim();
            let half = width(label, LETTER) / 2.0;
            let middle = x.min(self.wide - MARGIN - half).max(free + half);
            // A label that had to give way still stands over its line.
            if label.is_empty() || (middle - x).abs() > half || middle + half > self.wide - MARGIN {
                return None;
            }
            free = middle + half + 14.0;
            found.push((middle, label.to_owned()));
        }
        Some(found)
    }

    /// When the line would reach a limit: a bar along the limit.
    fn crossing(&self, pen: &mut Pen) {
        let Some((x0, x1, open, y)) = self.view.crossing.and_then(|c| self.crossed(c)) else {
            return;
        };
        pen.raw(format_args!("<g class='crossing'>"));
        pen.line(&[(x0, y), (x1, y)], "course-limit", 5.0, "");
        pen.line(&[(x0, y - 9.0), (x0, y + 9.0)], "course-limit", 2.5, "");
        if open {
            pen.line(
                &[(x1 - 9.0, y - 9.0), (x1, y), (x1 - 9.0, y + 9.0)],
                "course-limit",
                2.5,
                "",
            );
        } else {
            pen.line(&[(x1, y - 9.0), (x1, y + 9.0)], "course-limit", 2.5, "");
        }
        pen.raw(format_args!("</g>"));
    }

    /// Where that bar begins and ends, whether it goes on beyond the frame, and its height; `None` if it is not in the frame.
    pub(super) fn crossed(&self, c: Crossing) -> Option<(f64, f64, bool, f64)> {
        let f = &self.frame;
        let latest = c.latest.unwrap_or(f64::INFINITY);
        if !(f.y.0..=f.y.1).contains(&c.limit) || c.earliest > f.x.1 || latest < f.x.0 {
            return None;
        }
        let (x0, y) = f.at(c.earliest.max(f.x.0), c.limit);
        let x1 = f.at(latest.min(f.x.1), c.limit).0;
        Some((x0, x1, latest > f.x.1, y))
    }

    fn mark(&self, pen: &mut Pen, mark: &Mark) {
        let at = |level: f64| self.frame.at(mark.day, level);
        let (top, bottom) = (self.frame.top, self.bottom());
        let (x, y) = at(mark.seen.number());
        let kind = match mark.seen {
            Seen::Value { .. } => "value",
            Seen::Below(_) => "below",
            Seen::Above(_) => "above",
        };
        let more = [(mark.doubtful, " doubtful"), (mark.by_eye, " by-eye")]
            .map(|(is, name)| if is { name } else { "" })
            .concat();
        let mut told = format!(
            "{}: {}",
            dates::date(mark.day, self.view.offset_seconds, true),
            words::said(&mark.seen, &self.view.unit),
        );
        for (is, word) in [(mark.doubtful, ", doubtful"), (mark.by_eye, ", by eye")] {
            told += if is { word } else { "" };
        }
        let told = (pen.escape)(&told);
        pen.raw(format_args!(
            "<g class='mark {kind}{more}'><title>{told}</title>"
        ));
        let thin = mark.doubtful;
        let r = self.radius;
        // Width and dash of what is open to one side; dots of many would run together into stripes.
        let open = match (r < 5.0, thin) {
            (true, _) => (0.7, ""),
            (false, true) => (1.0, "1 4"),
            (false, false) => (2.0, "1 4"),
        };
        match mark.seen {
            Seen::Value { low, high, .. } => {
                let cut = |v: f64| v.clamp(self.frame.y.0, self.frame.y.1);
                interval(
                    pen,
                    x,
                    (at(cut(low)).1, at(cut(high)).1),
                    thin,
                    r,
                    (cut(low) == low, cut(high) == high),
                );
            }
            Seen::Below(_) => {
                let zero = at(self.frame.y.0.max(0.0)).1.min(bottom);
                pen.line(&[(x, y), (x, zero)], "course-bar", open.0, open.1);
            }
            Seen::Above(_) => {
                pen.line(
                    &[(x, y), (x, (y - 26.0).max(top))],
                    "course-bar",
                    open.0,
                    open.1,
                );
            }
        }
        symbol(pen, (x, y), r, mark);
        pen.raw(format_args!("</g>"));
    }
}
