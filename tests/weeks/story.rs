//! Twelve weeks of the invented nature centre Alder Creek, drawn from a seed: what the water did is known.

use jiff::{SignedDuration, ZonedDateTime};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use tintwell::chart::Medium;
use tintwell::flag::Verdict;
use tintwell::logbook::{Amount, Event, Kind, Moment, Reading, Source, Water};

pub const QUARANTINE: &str = "quarantine tank";
pub const TIDEPOOL: &str = "tidepool";
pub const WEEKS: usize = 12;
/// Readings before the change of filtration.
pub const BEFORE: usize = 6;

/// What one test did in one water: a straight line, another one after the change.
pub struct Line {
    pub water: &'static str,
    pub test: &'static str,
    /// mg/L at the change, by the line before it.
    pub level: f64,
    /// mg/L a week.
    pub before: f64,
    pub after: f64,
    /// What it jumped by at the change, mg/L.
    pub step: f64,
    /// Standard deviation of the water around it, mg/L.
    pub scatter: f64,
    /// Standard uncertainty of a reading: a share of the level and a constant, mg/L.
    pub share: f64,
    pub least: f64,
    /// What the test cannot show less than, mg/L.
    pub shows: f64,
}

/// The quarantine tank gets filter material that works; at the tidepool new material changes nothing; ammonia falls until the test
/// does not show it.
pub const LINES: [Line; 3] = [
    Line {
        water: QUARANTINE,
        test: "nitrate",
        level: 38.0,
        before: 2.4,
        after: -2.0,
        step: 0.0,
        scatter: 0.8,
        share: 0.04,
        least: 0.3,
        shows: 1.0,
    },
    Line {
        water: TIDEPOOL,
        test: "nitrate",
        level: 19.0,
        before: 0.8,
        after: 0.8,
        step: 0.0,
        scatter: 0.5,
        share: 0.04,
        least: 0.3,
        shows: 1.0,
    },
    Line {
        water: QUARANTINE,
        test: "ammonia",
        level: 0.55,
        before: 0.0,
        after: -0.07,
        step: -0.1,
        scatter: 0.03,
        share: 0.05,
        least: 0.03,
        shows: 0.15,
    },
];

/// So many weeks after the first reading, a little past nine on a Monday.
fn moment(weeks: f64) -> Moment {
    let first: ZonedDateTime = "2025-12-08T09:05[-08:00]".parse().unwrap();
    let minutes = (weeks * 7.0 * 24.0 * 60.0).round() as i64;
    Moment::from(&(first + SignedDuration::from_mins(minutes)))
}

/// When the filtration was changed, in weeks.
pub fn change_at() -> f64 {
    BEFORE as f64 - 0.4
}

impl Line {
    /// mg/L so many weeks after the first reading, without the scatter.
    fn at(&self, weeks: f64) -> f64 {
        let since = weeks - change_at();
        if since > 0.0 {
            self.level + self.step + self.after * since
        } else {
            self.level + self.before * since
        }
    }

    fn reading(&self, week: usize, random: &mut ChaCha8Rng) -> Reading {
        let weeks = week as f64 + f64::from(random.random_range(0..40)) / 10_080.0;
        let normal = |random: &mut ChaCha8Rng| random.sample::<f64, _>(StandardNormal);
        let truth = self.at(weeks) + self.scatter * normal(random);
        // One is told by eye, one in poor light.
        let (by_eye, doubtful) = (week == 3, week == 8);
        let u = (self.share * self.level + self.least)
            * if by_eye {
                3.0
            } else if doubtful {
                2.0
            } else {
                1.0
            };
        let value = truth + u * normal(random);
        let round = |v: f64| (v * 1000.0).round() / 1000.0;
        let answer = if value < self.shows {
            Amount::Below { high: self.shows }
        } else {
            Amount::Value {
                value: round(value),
                low: round((value - 1.96 * u).max(0.0)),
                high: round(value + 1.96 * u),
            }
        };
        Reading {
            water: self.water.into(),
            test: self.test.into(),
            unit: "mg/L".into(),
            at: moment(weeks),
            answer,
            source: if by_eye { Source::Eye } else { Source::Other },
            verdict: if doubtful {
                Verdict::Doubtful
            } else {
                Verdict::Trusted
            },
            photo: None,
            sha256: None,
            chart_sha256: None,
            dilution_factor: None,
            note: match (by_eye, doubtful) {
                (true, _) => "the phone was away".into(),
                (_, true) => "in poor light".into(),
                _ => String::new(),
            },
            record: None,
            picture: None,
        }
    }
}

pub fn waters() -> Vec<Water> {
    let water = |name: &str, litres, lives: &str, invertebrates| Water {
        name: name.into(),
        volume_l: Some(litres),
        medium: Some(Medium::Salt),
        lives: lives.into(),
        invertebrates,
    };
    vec![
        water(
            TIDEPOOL,
            900.0,
            "anemones, hermit crabs, tidepool sculpins",
            true,
        ),
        water(QUARANTINE, 220.0, "new fish, four weeks each", false),
    ]
}

pub fn readings(seed: u64) -> Vec<Reading> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    LINES
        .iter()
        .flat_map(|line| {
            (0..WEEKS)
                .map(|w| line.reading(w, &mut random))
                .collect::<Vec<_>>()
        })
        .collect()
}

pub fn events() -> Vec<Event> {
    [
        (QUARANTINE, "porous glass rings, 2 L"),
        (TIDEPOOL, "fresh foam"),
    ]
    .map(|(water, what)| Event {
        water: water.into(),
        kind: Kind::MediaIn,
        at: moment(change_at()),
        percent: None,
        amount: None,
        unit: None,
        substance: Some(what.into()),
        medicine: false,
        equipment: None,
        note: String::new(),
    })
    .to_vec()
}
