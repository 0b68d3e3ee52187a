//! Several photos of one vial as one reading: which photos go in, what comes out, and whether they agree.
//!
//! Touches no clock, terminal, network or file. Never averages answers that are not values, never hides a photo that was
//! left out, and never lets agreement among photos stand for certainty about what they share: see
//! [`combine`](crate::estimate::combine) for the science.

use crate::chart::Chart;
use crate::error::Result;
use crate::estimate::combine::{Combined, Estimate, combine};
use crate::estimate::dilution::Dilution;
use crate::estimate::posterior::BEYOND;
use crate::flag::{Checked, Flag, Severity, Verdict};
use crate::reading::{
    Answer, LEVEL, Reading, Share, WIDE_STEPS, below_detection, lower_end, may_be_above,
    may_be_under,
};

/// One photo of the vial, and what became of it.
#[derive(Debug, Clone, Copy)]
pub struct Member<'a> {
    /// Name of the photo, fit for showing.
    pub photo: &'a str,
    /// SHA-256 of the file, if it could be read.
    pub sha256: Option<&'a str>,
    /// The reading, or why there is none.
    pub result: &'a Result<Checked<Reading>>,
}

/// A reading of several photos of one vial.
#[derive(Debug, Clone)]
pub struct VialReading {
    /// Name of the test.
    pub test: String,
    /// Unit of all concentrations.
    pub unit: String,
    /// The answer; `None` if the photos have none in common.
    pub answer: Option<Answer>,
    /// The answer for what was in the vial; another than `answer` if the sample was diluted.
    pub on_chart: Option<Answer>,
    /// How the sample was diluted.
    pub dilution: Option<Dilution>,
    /// Probability that the truth lies within half a chart step of the value; `None` without a value.
    pub confidence: Option<f64>,
    /// How many photos were given.
    pub photos: usize,
    /// Which of them the answer rests on, by their place in the list.
    pub used: Vec<usize>,
    /// How the values were combined, in steps of the chart; `None` unless there were at least two.
    pub combined: Option<Combined>,
    /// What the uncertainty of what was in the vial is made of; empty unless values were combined.
    pub shares: Vec<Share>,
    /// From flags and answer.
    pub verdict: Verdict,
}

/// Contributions to a photo's uncertainty that are its own: another photo of the vial meets them anew.
///
/// All others count as shared. The chart's standards and its curve are the same for every photo. So, as a rule, are lamp and
/// camera, and with them what the correction onto the session leaves, what another light makes of ink and dye, what the vial
/// gathers from behind, the lens's stray light and the channel that this dye drives out of the gamut; whether they changed
/// between the photos cannot be seen. Counting too much as shared errs to the wide side, as does a reason that is new and
/// not in this list.
///
/// Repeatability comes from photos of standards, between which vials may also have been filled anew; what part of it is the
/// filling's, and so shared, is not known. All of it counts as the photo's own.
pub const OWN: [&str; 3] = [
    "sampling of the liquid",
    "light over the vial",
    "repeatability of vial and pose",
];

/// Chance at which a scatter of the photos beyond their own uncertainty is told: one vial in a hundred for nothing.
const SCATTER_CHANCE: f64 = 0.01;
/// Standard deviation between photos, in steps, from which they are told to disagree even where each is so uncertain that
/// chance explains it: the half step that a confidence is about.
const SCATTER_STEPS: f64 = 0.5;

/// One reading out of several photos of one vial, read with `chart`.
///
/// A file given twice counts once. Photos without a doubt go first: where there are two or more, the doubtful ones are left
/// out; else all that have an answer are combined, and their doubts stay. An interval that is too wide is no such doubt:
/// more photos are what is to be done about it.
pub fn same_vial(members: &[Member], chart: &Chart) -> Checked<VialReading> {
    let mut flags = Vec::new();
    let first = without_repeats(members, &mut flags);
    let readable: Vec<(usize, &Checked<Reading>)> = first
        .iter()
        .filter_map(|&i| Some((i, members[i].result.as_ref().ok()?)))
        .collect();
    let sound: Vec<_> = readable.iter().copied().filter(|r| is_sound(r.1)).collect();
    let pool = if sound.len() >= 2 {
        sound
    } else {
        readable.clone()
    };
    let (values, others): (Vec<_>, Vec<_>) = pool
        .iter()
        .copied()
        .partition(|(_, r)| matches!(r.value.on_chart, Answer::Value { .. }));
    // A value that fits in two places is no normal distribution, to be averaged with others.
    let (single, several): (Vec<_>, Vec<_>) = values
        .into_iter()
        .partition(|(_, r)| r.value.pieces.len() < 2);
    let values = if single.is_empty() {
        surest(several)
    } else {
        single
    };
    if kinds(&readable).len() > 1 {
        flags.push(differing_answers(members, &readable));
    }
    let mut combined = None;
    let mut shares = Vec::new();
    let (on_chart, confidence, used) = match values.as_slice() {
        // Where most photos give a bound, the others are no fair choice of them.
        few if few.len() < others.len() => {
            let answer = common_answer(&others);
            let used = if answer.is_some() { others } else { Vec::new() };
            (answer, None, used)
        }
        [] => (None, None, Vec::new()),
        [(_, one)] => (
            Some(one.value.on_chart.clone()),
            one.value.confidence,
            values.clone(),
        ),
        _ => match combined_values(&values, chart) {
            Ok((answer, c)) => {
                shares = shares_of(&c, chart);
                // Photos that disagree have a wide interval for that reason, which then is no bound.
                let disagree = scattered(&c, values.len());
                let answer = match answer {
                    Answer::Value { high, .. }
                        if disagree.is_none() && c.low <= 0.0 && chart.steps[0].value == 0.0 =>
                    {
                        Answer::Below { high }
                    }
                    answer => answer,
                };
                flags.extend(disagree.or_else(|| too_wide(&c, chart)));
                combined = Some(c);
                let sure = matches!(answer, Answer::Value { .. }).then(|| c.within(0.5));
                (Some(answer), sure, values.clone())
            }
            Err(e) => {
                flags.push(Flag::new("no-answer", Severity::Stop, e.what, e.fix));
                (None, None, Vec::new())
            }
        },
    };
    if on_chart.is_none() && !flags.iter().any(|f| f.severity == Severity::Stop) {
        flags.push(no_answer(readable.is_empty()));
    }
    flags.extend(left_out(members, &first, &used));
    carry(members, &used, combined.is_some(), &mut flags);
    let dilution = readable.first().and_then(|(_, r)| r.value.dilution);
    if let Some(c) = &combined {
        if let Some(Answer::Below { high }) = on_chart
            && flags.iter().all(|f| f.code != BELOW)
        {
            flags.push(below_detection(high, &chart.terms.unit, dilution.is_some()));
        }
        flags.extend(past_ends(c, chart, dilution.is_some()));
    }
    flags.extend(far_apart(&used, chart));
    flags.sort_by_key(|f| std::cmp::Reverse(f.severity));
    // The volumes are those of the one sample: their error is met once, after the photos are combined.
    let answer = on_chart
        .clone()
        .map(|a| dilution.map_or(a.clone(), |d| d.undo(a)));
    let reading = VialReading {
        test: chart.terms.test.clone(),
        unit: chart.terms.unit.clone(),
        answer,
        on_chart,
        dilution,
        confidence,
        photos: members.len(),
        used: used.iter().map(|(i, _)| *i).collect(),
        combined,
        shares,
        verdict: Verdict::of(&flags),
    };
    Checked {
        value: reading,
        flags,
    }
}

/// Places of the photos, the second and later copies of a file left away: a copy is no second look.
fn without_repeats(members: &[Member], flags: &mut Vec<Flag>) -> Vec<usize> {
    let (mut first, mut repeats) = (Vec::<usize>::new(), Vec::new());
    for (i, m) in members.iter().enumerate() {
        let seen = m
            .sha256
            .and_then(|h| first.iter().find(|&&k| members[k].sha256 == Some(h)));
        match seen {
            Some(&k) => repeats.push(format!("{} is {}", m.photo, members[k].photo)),
            None => first.push(i),
        }
    }
    if !repeats.is_empty() {
        flags.push(Flag::new(
            "photo-repeated",
            Severity::Note,
            format!(
                "the same photo was given more than once and counts once: {}",
                repeats.join(", ")
            ),
            "take each photo anew, and turn the vial or move the phone in between",
        ));
    }
    first
}

fn is_sound(reading: &Checked<Reading>) -> bool {
    reading
        .flags
        .iter()
        .all(|f| f.severity == Severity::Note || f.code == WIDE)
}

/// Codes of an interval that says little, and of one that reaches down to none.
const WIDE: &str = "wide-interval";
/// Codes of what is told of the combination anew.
const ANEW: [&str; 3] = [WIDE, "may-be-above", "may-be-under"];
const BELOW: &str = "below-detection";

/// Kinds of answer among readings, each once.
fn kinds(readings: &[(usize, &Checked<Reading>)]) -> Vec<std::mem::Discriminant<Answer>> {
    let mut kinds = Vec::new();
    for (_, r) in readings {
        let kind = std::mem::discriminant(&r.value.on_chart);
        if !kinds.contains(&kind) {
            kinds.push(kind);
        }
    }
    kinds
}

fn differing_answers(members: &[Member], readings: &[(usize, &Checked<Reading>)]) -> Flag {
    let each: Vec<String> = readings
        .iter()
        .map(|(i, r)| {
            let says = match r.value.on_chart {
                Answer::Value { .. } => "a value",
                Answer::Below { .. } => "not told from none",
                Answer::Under { .. } => "below the chart",
                Answer::Above { .. } => "above the chart",
                Answer::OffChart => "not on the chart",
            };
            format!("{}: {says}", members[*i].photo)
        })
        .collect();
    Flag::new(
        "photos-answer-differently",
        Severity::Doubt,
        format!(
            "the photos of the vial do not give one kind of answer: {}",
            each.join("; ")
        ),
        "see that all photos show the same vial, and take new ones in even light",
    )
}

/// What photos without a value say together, if they say the same. Bounds are not averaged: the widest holds for all.
fn common_answer(readings: &[(usize, &Checked<Reading>)]) -> Option<Answer> {
    if kinds(readings).len() > 1 {
        return None;
    }
    let mut answers = readings.iter().map(|(_, r)| r.value.on_chart.clone());
    let first = answers.next()?;
    Some(answers.fold(first, |widest, next| match (widest, next) {
        (Answer::Below { high: a }, Answer::Below { high: b }) => Answer::Below { high: a.max(b) },
        (Answer::Under { high: a }, Answer::Under { high: b }) => Answer::Under { high: a.max(b) },
        (Answer::Above { low: a }, Answer::Above { low: b }) => Answer::Above { low: a.min(b) },
        (same, _) => same,
    }))
}

fn no_answer(unreadable: bool) -> Flag {
    let message = if unreadable {
        "no photo of the vial could be read"
    } else {
        "the photos of the vial have no answer in common"
    };
    Flag::new(
        "no-answer",
        Severity::Stop,
        message,
        "see what is said about each photo, and take new ones",
    )
}

fn combined_values(
    readings: &[(usize, &Checked<Reading>)],
    chart: &Chart,
) -> Result<(Answer, Combined)> {
    let estimates: Vec<Estimate> = readings
        .iter()
        .filter_map(|(_, r)| match r.value.on_chart {
            Answer::Value { value, low, high } => Some(Estimate {
                value: chart.step_position(value),
                low: chart.step_position(low),
                high: chart.step_position(high),
                shared: shared(r.value.shares.iter().map(|s| (s.reason, s.share))),
            }),
            _ => None,
        })
        .collect();
    let c = combine(&estimates, LEVEL)?;
    let last = (chart.steps.len() - 1) as f64;
    // Past the ends no farther than one photo is followed.
    let answer = Answer::Value {
        value: chart.value_at(c.value.clamp(0.0, last)),
        low: lower_end(chart, c.low.max(-BEYOND)),
        high: chart.value_at(c.high.min(last + BEYOND)),
    };
    Ok((answer, c))
}

/// The same of several photos of one vial: what another vial meets anew.
const OWN_OF_VIAL: [&str; 2] = ["of each photo alone", "between the photos"];

/// Share of a photo's variance, or of several photos' of a vial, that is not its own, 0 to 1; of what its parts are called, and their shares.
pub fn shared<'a>(parts: impl Iterator<Item = (&'a str, f64)>) -> f64 {
    let own = |reason: &str| OWN.contains(&reason) || OWN_OF_VIAL.contains(&reason);
    let own: f64 = parts.filter(|(reason, _)| own(reason)).map(|p| p.1).sum();
    (1.0 - own).clamp(0.0, 1.0)
}

/// What the uncertainty of the combination is made of; in the unit, by the slope of the chart at the value.
fn shares_of(c: &Combined, chart: &Chart) -> Vec<Share> {
    let last = (chart.steps.len() - 1) as f64;
    let (p, q) = ((c.value - 0.05).max(0.0), (c.value + 0.05).min(last));
    let slope = (chart.value_at(q) - chart.value_at(p)) / (q - p);
    [
        ("shared by the photos", c.shared),
        (OWN_OF_VIAL[0], c.own),
        (OWN_OF_VIAL[1], c.between),
    ]
    .map(|(reason, variance)| Share {
        reason,
        share: variance / c.variance(),
        standard_uncertainty: variance.sqrt() * slope,
    })
    .to_vec()
}

fn scattered(c: &Combined, photos: usize) -> Option<Flag> {
    let tau = c.scatter.tau2.sqrt();
    (c.scatter.probability < SCATTER_CHANCE || tau > SCATTER_STEPS).then(|| {
        Flag::new(
            "photos-disagree",
            Severity::Doubt,
            format!(
                "the {photos} photos differ by {tau:.1} steps of the chart (standard deviation) beyond what each is uncertain by"
            ),
            "see that all photos show the same vial, taken in one go while the colour stands; look at the overlay of each (--overlay) and take new ones in even light",
        )
    })
}

fn too_wide(c: &Combined, chart: &Chart) -> Option<Flag> {
    let last = (chart.steps.len() - 1) as f64;
    let steps = c.high.min(last) - c.low.max(0.0);
    (steps > WIDE_STEPS).then(|| {
        Flag::new(
            WIDE,
            Severity::Doubt,
            format!("the interval of all photos together spans {steps:.1} steps of the chart"),
            "take the photos in even light, close and sharp, or make a chart with more photos of each standard",
        )
    })
}

/// The interval goes on past an end of the chart, and how likely the value does.
fn past_ends(c: &Combined, chart: &Chart, diluted: bool) -> Vec<Flag> {
    let last = (chart.steps.len() - 1) as f64;
    let at_zero = chart.steps[0].value == 0.0;
    let past = [
        (c.high > last).then(|| may_be_above(chart, 1.0 - c.below(last), diluted)),
        (c.low < 0.0 && !at_zero).then(|| may_be_under(chart, c.below(0.0))),
    ];
    past.into_iter().flatten().collect()
}

/// Photos of one vial are taken in one go, while its colour stands: the window of the chart, or an hour (common practice).
fn far_apart(used: &[(usize, &Checked<Reading>)], chart: &Chart) -> Option<Flag> {
    let taken = || used.iter().filter_map(|(_, r)| r.value.facts.taken_at);
    let (first, last) = (taken().min()?, taken().max()?);
    let minutes = first.duration_until(last).as_secs_f64() / 60.0;
    let window = chart.terms.read_window;
    let longest = window.map_or(60.0, |w| w.to_min - w.from_min);
    (minutes > longest.max(LEAST_WINDOW)).then(|| {
        Flag::new(
            "photos-far-apart",
            Severity::Doubt,
            format!(
                "the photos were taken from {first} to {last}: the colour of one vial does not stand so long"
            ),
            "combine photos of one vial that were taken in one go; read vials of other tests by themselves",
        )
    })
}

/// Photos within so many minutes are taken in one go, however short a window is.
const LEAST_WINDOW: f64 = 5.0;

/// The one of these that is surest.
fn surest(readings: Vec<(usize, &Checked<Reading>)>) -> Vec<(usize, &Checked<Reading>)> {
    let sure = |r: &Checked<Reading>| r.value.confidence.unwrap_or(0.0);
    readings
        .into_iter()
        .max_by(|a, b| sure(a.1).total_cmp(&sure(b.1)))
        .into_iter()
        .collect()
}

fn left_out(
    members: &[Member],
    first: &[usize],
    used: &[(usize, &Checked<Reading>)],
) -> Option<Flag> {
    let out: Vec<String> = first
        .iter()
        .filter(|&i| !used.is_empty() && used.iter().all(|(k, _)| k != i))
        .map(|&i| {
            let why = match members[i].result {
                Ok(r) => r.value.verdict.word(),
                Err(_) => "could not be read",
            };
            format!("{} ({why})", members[i].photo)
        })
        .collect();
    (!out.is_empty()).then(|| {
        Flag::new(
            "photos-left-out",
            Severity::Note,
            format!("not part of the answer: {}", out.join(", ")),
            "see what is said about each of them",
        )
    })
}

/// Findings of the photos that the answer rests on, each code once. A wide interval of one photo no longer matters once
/// it is combined.
fn carry(
    members: &[Member],
    used: &[(usize, &Checked<Reading>)],
    combined: bool,
    flags: &mut Vec<Flag>,
) {
    let mut carried: Vec<(Flag, Vec<usize>)> = Vec::new();
    for (i, reading) in used {
        for flag in &reading.flags {
            if combined && ANEW.contains(&flag.code.as_str()) {
                continue;
            }
            match carried.iter_mut().find(|(f, _)| f.code == flag.code) {
                Some((f, photos)) => {
                    // The worst of them speaks.
                    if flag.severity > f.severity {
                        *f = flag.clone();
                        photos.insert(0, *i);
                    } else {
                        photos.push(*i);
                    }
                }
                None => carried.push((flag.clone(), vec![*i])),
            }
        }
    }
    flags.extend(carried.into_iter().map(|(mut flag, photos)| {
        let more = match photos.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        flag.message = format!("{}{more}: {}", members[photos[0]].photo, flag.message);
        flag
    }));
}

#[cfg(test)]
mod tests;
