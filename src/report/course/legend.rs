//! What stands below the picture: what its signs mean, and the events by number.

use super::pen::{Pen, Sample, badge, broken, width};
use super::picture::{LETTER, MARGIN, Plot, ROW};
use super::{Band, Mark, Seen, dates, words};

/// Events listed below the plot.
const MOST_LISTED: usize = 60;

impl Plot<'_> {
    /// What the marks and lines mean, only those that are there. Returns the baseline of the row after.
    pub(super) fn key(&self, pen: &mut Pen, mut y: f64) -> f64 {
        let (mut x, start) = (MARGIN, MARGIN);
        for (sample, text) in self.kinds() {
            let wide = 36.0 + width(&text, LETTER);
            if x + wide > self.wide - MARGIN && x > start {
                x = start;
                y += ROW;
            }
            sample.draw(pen, (x + 13.0, y - 5.0));
            pen.text((x + 32.0, y), "start", "course-ink", "", &text);
            x += wide + 20.0;
        }
        y + ROW
    }

    fn kinds(&self) -> Vec<(Sample, String)> {
        let mut found = Vec::new();
        let value = Seen::Value {
            value: 0.0,
            low: 0.0,
            high: 0.0,
        };
        for (seen, doubtful, by_eye, text) in [
            (value, false, false, "measured"),
            (value, true, false, "doubtful"),
            (value, false, true, "by eye"),
            (value, true, true, "by eye, doubtful"),
            (Seen::Below(0.0), false, false, "below this level"),
            (Seen::Below(0.0), true, false, "below, doubtful"),
            (Seen::Below(0.0), false, true, "below, by eye"),
            (Seen::Below(0.0), true, true, "below, by eye, doubtful"),
            (Seen::Above(0.0), false, false, "above this level"),
            (Seen::Above(0.0), true, false, "above, doubtful"),
            (Seen::Above(0.0), false, true, "above, by eye"),
            (Seen::Above(0.0), true, true, "above, by eye, doubtful"),
        ] {
            let alike = |m: &Mark| {
                std::mem::discriminant(&m.seen) == std::mem::discriminant(&seen)
                    && (m.doubtful, m.by_eye) == (doubtful, by_eye)
            };
            let count = self.view.marks.iter().filter(|m| alike(m)).count();
            if count > 0 {
                let mark = Mark {
                    day: 0.0,
                    seen,
                    doubtful,
                    by_eye,
                };
                found.push((Sample::Mark(mark), format!("{count} {text}")));
            }
        }
        let ranged = |m: &Mark| matches!(m.seen, Seen::Value { low, high, .. } if high > low);
        if self.view.marks.iter().any(ranged) {
            found.push((Sample::Interval, "interval".into()));
        }
        let parts: Vec<_> = self.view.bands.iter().map(Band::parts).collect();
        if parts.iter().any(|p| p.0.len() > 1) {
            found.push((Sample::Line, "line, and where it may lie".into()));
        }
        if parts.iter().any(|p| p.1.len() > 1) {
            found.push((Sample::Later, "if it goes on like this".into()));
        }
        if self
            .view
            .crossing
            .is_some_and(|c| self.crossed(c).is_some())
        {
            found.push((Sample::Crossing, "when it may get there".into()));
        }
        found
    }

    /// The events with their numbers and dates, in two columns if there are many and all are short. Returns the baseline of
    /// the row after.
    pub(super) fn list(&self, pen: &mut Pen, mut y: f64) -> f64 {
        let events = &self.view.events;
        let whole = self.wide - 2.0 * MARGIN;
        let with_year = words::needs_year(self.view)
            || events
                .iter()
                .any(|e| !(self.frame.x.0..=self.frame.x.1).contains(&e.day));
        let before = 32.0 + if with_year { 104.0 } else { 64.0 };
        let told: Vec<String> = (1..=events.len().min(MOST_LISTED))
            .map(|number| words::event(self.view, number, self.frame.x))
            .collect();
        let short = told
            .iter()
            .all(|t| width(t, LETTER) <= whole / 2.0 - before - 16.0);
        let columns = if short && told.len() > 5 { 2 } else { 1 };
        let rows = told.len().div_ceil(columns);
        let top = y;
        let mut end = y;
        for (i, (text, e)) in told.iter().zip(events).enumerate() {
            if i > 0 && i % rows == 0 {
                y = top;
            }
            let x = MARGIN + whole / columns as f64 * (i / rows) as f64;
            badge(pen, (x + 13.0, y - 5.0), &(i + 1).to_string(), e.split);
            let date = dates::date(e.day, self.view.offset_seconds, with_year);
            pen.text((x + 32.0, y), "start", "course-quiet", "", &date);
            let bold = if e.split { " font-weight='600'" } else { "" };
            for line in broken(text, LETTER, whole / columns as f64 - before - 8.0, 3) {
                pen.text((x + before, y), "start", "course-ink", bold, &line);
                y += ROW;
            }
            end = y.max(end);
        }
        let left = events.len() - told.len();
        if left > 0 {
            let more = format!("and {left} more");
            pen.text((MARGIN + 32.0, end), "start", "course-ink", "", &more);
            end += ROW;
        }
        end
    }
}
