//! A table of standards from one stock, each volume large enough to measure: directly, or by way of an intermediate.
//!
//! At most two stages; an intermediate serves as many standards as its volume allows. Never mixes two intermediates.
//! Volumes measured are independent of each other: an error that the pipette makes each time alike is left out.
//! Arithmetic: balance of mass; uncertainty as in [`super::standards::dilute`].

use serde::Serialize;

use super::standards::{dilute, volume_to_take};
use super::{Estimate, check};
use crate::error::{Error, Result};

/// What volumes can be measured with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measuring {
    /// Smallest volume to be taken, mL, above 0.
    pub smallest: f64,
    /// Standard uncertainty of a volume taken: this part is the same for each, mL,
    pub u_absolute: f64,
    /// and this one a share of it. They add as squares.
    pub u_relative: f64,
    /// What each solution is filled up to, mL; not below `smallest`.
    pub fill_to: Estimate,
}

impl Measuring {
    fn taken(&self, volume: f64) -> Estimate {
        Estimate::new(volume, self.u_absolute.hypot(self.u_relative * volume))
    }

    /// Whether the pipette can take it and the flask hold it.
    fn can_take(&self, volume: f64) -> bool {
        volume >= self.smallest * (1.0 - ROUNDING)
            && volume <= self.fill_to.value * (1.0 + ROUNDING)
    }
}

/// Rounding allowed before a volume counts as too small or too large.
const ROUNDING: f64 = 1e-9;

/// Where a row's volume is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Source {
    /// Nothing is taken: the water that the others are filled up with.
    Water,
    /// The stock.
    Stock,
    /// An earlier row of the table, counted from 0.
    Row(usize),
}

/// One solution to make.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Row {
    /// Where in the list of wanted concentrations; none for an intermediate.
    pub wanted: Option<usize>,
    pub source: Source,
    /// mL to take of the source.
    pub take: f64,
    /// mL to fill up to.
    pub fill_to: f64,
    /// What that makes, in the unit of the stock.
    pub concentration: Estimate,
}

/// Dilution factors of intermediates that are easy to make with one volume. The weakest that serves is taken; where none
/// does, the strongest that the smallest volume makes.
const FACTORS: [f64; 12] = [
    2.0, 4.0, 5.0, 10.0, 20.0, 25.0, 40.0, 50.0, 100.0, 200.0, 500.0, 1000.0,
];

/// An intermediate being planned.
struct Intermediate {
    factor: f64,
    concentration: Estimate,
    /// mL not yet taken from it.
    left: f64,
}

/// The rows that make all `wanted` concentrations (0 or more, at most the stock's; the stock's unit) from the stock:
/// intermediates first, then the standards in the order wanted. No volume taken is below the smallest that can be measured.
///
/// # Errors
/// Nothing wanted, a concentration above the stock's, one that two stages do not reach, a smallest volume above what is
/// filled up to, anything negative or not a number.
pub fn table(stock: Estimate, wanted: &[f64], measuring: &Measuring) -> Result<Vec<Row>> {
    let stock = check::some("concentration of the stock", stock)?;
    check::positive("smallest volume", measuring.smallest)?;
    check::uncertainty("a volume, in mL", measuring.u_absolute)?;
    check::uncertainty("a volume, as a share", measuring.u_relative)?;
    let fill_to = check::some("volume to fill up to", measuring.fill_to)?;
    if measuring.smallest > fill_to.value {
        return Err(Error::new(
            format!(
                "the smallest volume, {} mL, is more than the {} mL that is filled up to",
                measuring.smallest, fill_to.value
            ),
            "fill up to a larger volume, or measure smaller ones",
        )
        .about("smallest volume"));
    }
    if wanted.is_empty() {
        return Err(Error::new(
            "no concentration is wanted",
            "give at least one",
        ));
    }

    // The weakest first: its intermediate serves those after it.
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    let mut intermediates: Vec<Intermediate> = Vec::new();
    let mut standards: Vec<Option<Row>> = vec![None; wanted.len()];
    for i in order {
        standards[i] = Some(plan(i, wanted[i], stock, measuring, &mut intermediates)?);
    }

    let first = intermediates.iter().map(|m| Row {
        wanted: None,
        source: Source::Stock,
        take: fill_to.value / m.factor,
        fill_to: fill_to.value,
        concentration: m.concentration,
    });
    Ok(first.chain(standards.into_iter().flatten()).collect())
}

/// How to make one standard; may add an intermediate.
fn plan(
    place: usize,
    wanted: f64,
    stock: Estimate,
    measuring: &Measuring,
    intermediates: &mut Vec<Intermediate>,
) -> Result<Row> {
    let fill_to = measuring.fill_to;
    let row = |source, take, concentration| Row {
        wanted: Some(place),
        source,
        take,
        fill_to: fill_to.value,
        concentration,
    };
    if check::not_negative("wanted concentration", wanted)? == 0.0 {
        return Ok(row(Source::Water, 0.0, Estimate::exact(0.0)));
    }
    if wanted == stock.value {
        return Ok(row(Source::Stock, fill_to.value, stock));
    }
    let direct = volume_to_take(stock.value, wanted, fill_to.value)?;
    if measuring.can_take(direct) {
        let made = dilute(stock, measuring.taken(direct), fill_to)?;
        return Ok(row(Source::Stock, direct, made));
    }
    // From an intermediate, so many times weaker, so many times the volume is taken.
    let from = |factor: f64| (direct * factor).min(fill_to.value);
    let fits = |m: &Intermediate| {
        let take = direct * m.factor;
        measuring.can_take(take) && take <= m.left * (1.0 + ROUNDING)
    };
    let at = match intermediates.iter().position(fits) {
        Some(at) => at,
        None => {
            let strongest = fill_to.value / measuring.smallest;
            let factor = FACTORS
                .into_iter()
                .chain([strongest])
                .find(|f| measuring.can_take(direct * f) && measuring.can_take(fill_to.value / f))
                .ok_or_else(|| too_weak(wanted, stock.value, measuring))?;
            let take = measuring.taken(fill_to.value / factor);
            intermediates.push(Intermediate {
                factor,
                concentration: dilute(stock, take, fill_to)?,
                left: fill_to.value,
            });
            intermediates.len() - 1
        }
    };
    let m = &mut intermediates[at];
    let take = from(m.factor);
    m.left -= take;
    let made = dilute(m.concentration, measuring.taken(take), fill_to)?;
    Ok(row(Source::Row(at), take, made))
}

fn too_weak(wanted: f64, stock: f64, measuring: &Measuring) -> Error {
    Error::new(
        format!(
            "{wanted} from a stock of {stock} takes more than two stages: no volume below {} mL can be taken, and each is filled up to {} mL",
            measuring.smallest, measuring.fill_to.value
        ),
        "start from a weaker stock, fill up to a larger volume, or measure smaller volumes",
    )
    .about("wanted concentration")
}
