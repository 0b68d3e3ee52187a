//! `tintwell plan`: arithmetic around the water, one file a question.
//!
//! Never says which level is good, and gives no advice on treatment. What goes in with a plus-minus comes out with a 95 %
//! interval; the arithmetic itself is in [`crate::water`].

mod ammonia;
mod change;
mod convert;
mod dilute;
mod level;
mod routine;
mod standards;
mod stock;
mod together;

use serde::Serialize;

use super::{Done, Exit, put};
use crate::face::plan::{LIVESTOCK, USE, figure};

const EXAMPLES: &str = "\
Examples:
  tintwell plan change --now 42 --plus-minus 6 --target 20 --volume 400L --most-a-day 20
  tintwell plan change --log tidepool nitrate --target 20
  tintwell plan routine --log tidepool nitrate --share 25
  tintwell plan dilute --top 160
  tintwell plan stock KNO3 --as NO3 --make 1000 --volume 500
  tintwell plan standards --stock 1000 --stock-plus-minus 30 0 5 10 20 40 80
  tintwell plan convert 10 NO3-N NO3 --plus-minus 2
  tintwell plan ammonia --ph 8.2 --ph-plus-minus 0.2 --temperature 25 --salinity 35

A plus-minus is half of a 95 % interval (1.96 standard uncertainties).
Every result has its 95 % interval beside it (k = 2: twice its standard uncertainty).";

/// Reckon water changes, routines, dilutions, standards, units, un-ionised ammonia
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    #[command(subcommand)]
    command: Command,
}

#[derive(clap::Subcommand)]
enum Command {
    Change(change::Args),
    Routine(routine::Args),
    Dilute(dilute::Args),
    Stock(stock::Args),
    Standards(standards::Args),
    Convert(convert::Args),
    Ammonia(ammonia::Args),
}

pub(super) fn run(args: &Args) -> Done {
    match &args.command {
        Command::Change(args) => change::run(args),
        Command::Routine(args) => routine::run(args),
        Command::Dilute(args) => dilute::run(args),
        Command::Stock(args) => stock::run(args),
        Command::Standards(args) => standards::run(args),
        Command::Convert(args) => convert::run(args),
        Command::Ammonia(args) => ammonia::run(args),
    }
}

const HANDLING: &str = "Wear gloves and eye protection. Keep from children and animals. Follow the maker's safety sheet.";
const INTERVALS: &str =
    "Intervals are 95 % (k = 2: twice the standard uncertainty u); a plus-minus counts as 1.96 u.";

/// What stands below every result, in both faces.
#[derive(Serialize)]
struct Foot {
    /// Coverage of the intervals,
    level: f64,
    /// and how many standard uncertainties that is; `null` where intervals are as they were given.
    coverage_factor: Option<f64>,
    notes: Vec<String>,
    cautions: Vec<&'static str>,
}

impl Foot {
    fn new(mut notes: Vec<String>, cautions: &[&'static str]) -> Foot {
        notes.push(INTERVALS.to_owned());
        Foot {
            coverage_factor: Some(figure::K),
            ..Foot::scaled(notes, cautions)
        }
    }

    /// Of a result whose interval is the given one, only multiplied.
    fn scaled(notes: Vec<String>, cautions: &[&'static str]) -> Foot {
        Foot {
            level: 0.95,
            coverage_factor: None,
            notes,
            cautions: cautions.to_vec(),
        }
    }
}

/// A result with its foot.
#[derive(Serialize)]
struct Sheet<T: Serialize> {
    plan: &'static str,
    #[serde(flatten)]
    result: T,
    #[serde(flatten)]
    foot: Foot,
}

impl<T: Serialize> Sheet<T> {
    /// Shows the result: `text` with its foot, or one JSON object.
    fn show(&self, text: &str, json: bool) -> Done {
        if json {
            let object = serde_json::to_string(self).expect("numbers and texts");
            put(&format!("{object}\n"))?;
        } else {
            let mut out = format!("{text}\n");
            for note in &self.foot.notes {
                out += &wrapped(note);
            }
            out += "\nCautions\n";
            for caution in &self.foot.cautions {
                out += &wrapped(caution);
            }
            put(&out)?;
        }
        Ok(Exit::Trusted)
    }
}

/// Columns of text that fit most terminals and can be read at arm's length.
const WIDTH: usize = 100;

/// A sentence, its lines broken between words.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    let mut long = 0;
    for word in text.split(' ') {
        let n = word.chars().count();
        if long > 0 && long + 1 + n > WIDTH {
            out += "\n  ";
            long = 2;
        } else if long > 0 {
            out.push(' ');
            long += 1;
        }
        out += word;
        long += n;
    }
    out + "\n"
}

/// Rows as text, each column as wide as its widest cell.
fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let wide = |c: usize| {
        rows.iter()
            .filter_map(|r| r.get(c))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(wide).collect();
    rows.iter()
        .map(|row| {
            let cells: Vec<String> = row
                .iter()
                .zip(&widths)
                .map(|(cell, w)| format!("{cell:<w$}"))
                .collect();
            format!("  {}\n", cells.join("  ").trim_end())
        })
        .collect()
}

/// A row of a name and what it is.
fn row(name: &str, what: String) -> Vec<String> {
    vec![name.to_owned(), what]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_below_each_other() {
        let rows = [row("a", "1".into()), row("long ± name", "22".into())];
        assert_eq!(aligned(&rows), "  a            1\n  long ± name  22\n");
    }

    #[test]
    fn long_sentences_are_broken_between_words() {
        let text = "word ".repeat(60);
        let lines = wrapped(text.trim());
        assert!(lines.lines().all(|l| l.chars().count() <= WIDTH));
        assert_eq!(lines.split_whitespace().count(), 60);
    }
}
