//! What speaks against a chart, found while it was made: in single photos of its standards, between photos of one, and between
//! the standards. It stays with the chart: a reading on a doubtful chart is doubtful.

use nalgebra::Vector3;

use super::calibrate::{Standard, Taken, assumed, of_value};
use super::resolve::{self, Pair, TOLD_APART};
use super::{Chart, Origin, Step};
use crate::colour::Relative;
use crate::estimate::budget::depth;
use crate::flag::{Flag, Severity};
use crate::light::correct::SessionPatch;
use crate::light::spot::median;
use crate::sight;
use crate::vial::ends::{Ends, UsualEnds};
use crate::vial::lens::Lens;

/// All of it, worst first. `doubts` ([`doubt`]) and `ends` are those of the photos in `taken`, `left_out` tells of photos that are not
/// among them.
pub(super) fn of(
    chart: &Chart,
    taken: &[Taken<'_>],
    doubts: &[Option<Flag>],
    ends: &[Ends],
    left_out: Vec<Flag>,
) -> Vec<Flag> {
    let mut flags: Vec<Flag> = out_of_line(chart).into_iter().collect();
    flags.extend(disagreeing(chart, taken));
    flags.extend(taken.iter().zip(doubts).filter_map(|(t, doubt)| {
        let doubt = doubt.as_ref()?;
        Some(Flag::new(
            "standard-doubtful",
            Severity::Doubt,
            about(t, &chart.terms.unit, doubt),
            format!("photograph this standard again: {}", doubt.fix),
        ))
    }));
    flags.extend(drifted(&chart.patches));
    flags.extend(lamp(chart.lens.as_ref()));
    flags.extend(from_aside(taken));
    flags.extend(left_out);
    flags.extend(single(chart));
    flags.extend(unmixed(taken, ends));
    flags.sort_by_key(|f| std::cmp::Reverse(f.severity));
    flags
}

/// Code of a chart whose standards were lit from aside.
pub const FROM_ASIDE: &str = "standards-from-aside";

/// Whether most of the standards that tell were lit from aside: then samples are to be, too.
fn from_aside(taken: &[Taken<'_>]) -> Option<Flag> {
    let tell: Vec<bool> = taken
        .iter()
        .filter_map(|t| Some(t.sampled.aside?.is_most()))
        .collect();
    let most = tell.iter().filter(|most| **most).count();
    (2 * most > tell.len()).then(|| {
        Flag::new(
            FROM_ASIDE,
            Severity::Note,
            "the light came from aside: what went through the liquid fell on the card beside the vial, not behind it".to_owned(),
            "photograph samples in the same light; better, make the chart anew with the light from behind you or from above",
        )
    })
}

/// Steps that do not follow each other.
fn out_of_line(chart: &Chart) -> Option<Flag> {
    let apart = typical_distance(&chart.steps);
    let missed = chart
        .curve
        .left_out_error
        .filter(|missed| *missed > MIXED_UP * apart);
    let why = match (missed, turns_back(chart)) {
        (Some(missed), _) => format!(
            "left-out ones are missed by {missed:.1} CIELAB, neighbours are {apart:.1} apart"
        ),
        (None, Some(value)) => format!("the colour turns back at {value} {}", chart.terms.unit),
        (None, None) => return None,
    };
    Some(Flag::new(
        "steps-out-of-line",
        Severity::Doubt,
        format!("the steps do not follow each other: {why}"),
        "see whether photos of two standards are mixed up, or a vial was empty or not mixed (`tintwell chart` shows the colours); where a test bleaches, leave out the standards past the turn",
    ))
}

/// The first step at which the colour goes back the way that it came, by steps that one photo tells apart.
fn turns_back(chart: &Chart) -> Option<f64> {
    let ways: Vec<Vector3<f64>> = chart
        .steps
        .windows(2)
        .map(|w| w[1].lab().to_vector() - w[0].lab().to_vector())
        .collect();
    let told_apart = |pair: &Pair| pair.sigmas >= TOLD_APART;
    let pairs = resolve::pairs(chart).ok()?;
    (1..ways.len())
        .find(|&i| {
            ways[i - 1].dot(&ways[i]) < BACK * ways[i - 1].norm() * ways[i].norm()
                && told_apart(&pairs[i - 1])
                && told_apart(&pairs[i])
        })
        .map(|i| chart.steps[i].value)
}

/// Cosine of the angle between the ways to and from a step under which the colour turns back there: two forms of an indicator, and
/// hues that wander, bend by less.
const BACK: f64 = -0.5;

/// A curve that misses left-out steps by more than this share of what neighbours lie apart leads nowhere: along a smooth
/// curve a left-out step is missed by a fraction of it, with two standards mixed up by more than the whole.
const MIXED_UP: f64 = 0.8;

/// Root mean square CIELAB distance of neighbouring steps.
fn typical_distance(steps: &[Step]) -> f64 {
    let squares = steps
        .windows(2)
        .map(|w| (w[1].lab().to_vector() - w[0].lab().to_vector()).norm_squared());
    (squares.sum::<f64>() / (steps.len() - 1) as f64).sqrt()
}

/// Standards whose photos are less alike than those of neighbouring standards.
fn disagreeing(chart: &Chart, taken: &[Taken<'_>]) -> Vec<Flag> {
    let unit = &chart.terms.unit;
    let labs: Vec<_> = chart.steps.iter().map(|s| s.lab().to_vector()).collect();
    (0..labs.len())
        .filter_map(|i| {
            let value = chart.steps[i].value;
            let to = |j: usize| (labs[i] - labs[j]).norm();
            let neighbour = [i.checked_sub(1), (i + 1 < labs.len()).then_some(i + 1)]
                .into_iter()
                .flatten()
                .map(to)
                .fold(f64::INFINITY, f64::min);
            let (photos, _) = of_value(value, taken);
            let (a, b, apart) = farthest(&photos)?;
            let beyond_known = unlike(a, b) > UNLIKE_D2;
            (apart > neighbour.max(PLAIN) * DISAGREE && beyond_known).then(|| {
                Flag::new(
                    "standard-disagrees",
                    Severity::Doubt,
                    format!(
                        "photos of {value} {unit} differ by {apart:.1} CIELAB, its neighbour by {neighbour:.1}: {} and {}",
                        a.standard.name, b.standard.name
                    ),
                    "see whether one shows another standard, or a vial that was not mixed or stood in other light, and photograph this standard again",
                )
            })
        })
        .collect()
}

/// Photos of one standard that differ by more than this share of the distance to the nearest other standard: an assumption. None of
/// the 40 sessions of study seeds 5501 and 9203 in `tests/scenes` is called so.
const DISAGREE: f64 = 0.75;
/// Least distance (CIELAB) that counts for a neighbour's: nearer ones are told apart by no photo.
const PLAIN: f64 = 4.0;
/// Squared Mahalanobis distance of two photos past what is known of each: chi-squared, 3 degrees of freedom, 0.999.
const UNLIKE_D2: f64 = 16.27;

/// The two photos of a standard that lie farthest apart, and their distance in CIELAB.
fn farthest<'a, 'b>(photos: &[&'a Taken<'b>]) -> Option<(&'a Taken<'b>, &'a Taken<'b>, f64)> {
    let lab = |t: &Taken<'_>| {
        Relative(t.sampled.ln.map(f64::exp).into())
            .to_lab()
            .to_vector()
    };
    photos
        .iter()
        .enumerate()
        .flat_map(|(i, a)| photos[i + 1..].iter().map(move |b| (*a, *b)))
        .map(|(a, b)| (a, b, (lab(a) - lab(b)).norm()))
        .max_by(|x, y| x.2.total_cmp(&y.2))
}

/// Squared Mahalanobis distance of two photos of one standard, with what is known of each and what a vial repeats to.
fn unlike(a: &Taken<'_>, b: &Taken<'_>) -> f64 {
    let d = a.sampled.ln - b.sampled.ln;
    let mean: Vector3<f64> = (a.sampled.ln + b.sampled.ln) / 2.0;
    let repeat = assumed(&(mean / mean.norm().max(1e-9))) * depth(&mean).powi(2);
    let sigma = a.covariance + b.covariance + repeat * 2.0;
    sigma
        .cholesky()
        .map_or(f64::INFINITY, |c| d.dot(&c.solve(&d)))
}

/// The standards without the photos that a reading would doubt where another of the same standard is sound, and why those are left
/// out; `None` if there is no such photo. `doubts` ([`doubt`]) are those about each.
pub(super) fn spared<'a>(
    taken: &[Taken<'a>],
    doubts: &[Option<Flag>],
    unit: &str,
) -> Option<(Vec<&'a Standard>, Vec<Flag>)> {
    let (mut sound, mut why) = (Vec::new(), Vec::new());
    for (t, doubt) in taken.iter().zip(doubts) {
        let another = || {
            let mut others = taken.iter().zip(doubts);
            others.any(|(o, d)| d.is_none() && o.standard.value == t.standard.value)
        };
        match doubt {
            Some(doubt) if another() => why.push(Flag::new(
                "standard-left-out",
                Severity::Note,
                format!(
                    "left out, since another photo of this standard is sound: {}",
                    about(t, unit, doubt)
                ),
                format!(
                    "for a chart that knows how well a vial repeats, photograph this standard again: {}",
                    doubt.fix
                ),
            )),
            _ => sound.push(t.standard),
        }
    }
    (!why.is_empty()).then_some((sound, why))
}

/// Doubt that a reading of this photo would meet, too; `vial_mm` is how wide the vials of all are.
pub(super) fn doubt(t: &Taken<'_>, vial_mm: Option<f64>) -> Option<Flag> {
    let seen = sight::of_vial(&t.standard.look, &t.sampled, vial_mm);
    t.standard
        .of_file
        .iter()
        .chain(&seen)
        .find(|f| f.severity != Severity::Note)
        .cloned()
}

/// A doubt in words, with the photo and the standard that it is about.
fn about(t: &Taken<'_>, unit: &str, doubt: &Flag) -> String {
    format!(
        "{} ({} {unit}): {}",
        t.standard.name, t.standard.value, doubt.message
    )
}

/// A session that was not held together; each photo is corrected onto the mean of all.
fn drifted(patches: &[SessionPatch]) -> Option<Flag> {
    let mut sd: Vec<f64> = patches
        .iter()
        .filter_map(|p| p.sd.map(|s| (s[0] + s[1] + s[2]) / 3.0))
        .collect();
    let drift = if sd.is_empty() { 0.0 } else { median(&mut sd) };
    (drift > DRIFT).then(|| {
        Flag::new(
            "session-drift",
            Severity::Note,
            format!(
                "the card's patches differ by {:.0} % between the photos of this session",
                100.0 * drift
            ),
            "photograph all standards with one phone, one after another, in the same light",
        )
    })
}

/// Patches that differ by more than this between photos of a session (natural log, median) tell of a session that was
/// not held together: 5 % is about 2 CIELAB units at mid-grey.
const DRIFT: f64 = 0.05;

/// Light that vials gather otherwise from photo to photo; readings allow for it.
fn lamp(lens: Option<&Lens>) -> Option<Flag> {
    let gathered = lens?.unsteady()?;
    Some(Flag::new(
        "lamp-through-vials",
        Severity::Note,
        format!(
            "one lamp or the sun shines through the vials and throws stripes of light behind them, {:.0} % unlike from photo to photo",
            100.0 * (gathered.exp() - 1.0)
        ),
        "photograph the standards again in diffuse light: by a window without sun, or under a wide or shaded lamp",
    ))
}

/// One photo of each standard.
fn single(chart: &Chart) -> Option<Flag> {
    (chart.repeatability_df == 0 && chart.origin == Origin::Standards).then(|| {
        Flag::new(
            "no-replicates",
            Severity::Note,
            "every standard was photographed once, so how well a vial repeats is assumed, not measured",
            "photograph each standard twice, taking the vial away and putting it back in between",
        )
    })
}

/// A note on each standard whose ends differ in their dye beyond those of all others.
fn unmixed(taken: &[Taken<'_>], ends: &[Ends]) -> Vec<Flag> {
    let beyond_others = |i: usize| {
        let others = [&ends[..i], &ends[i + 1..]].concat();
        Some(UsualEnds::of(&others)?.beyond(&ends[i]))
    };
    taken
        .iter()
        .enumerate()
        .filter(|(i, _)| beyond_others(*i).is_some_and(|b| b.unmixed(UNMIXED, UNMIXED_TINT)))
        .map(|(i, t)| {
            Flag::new(
                "standard-uneven",
                Severity::Note,
                format!(
                    "in {} the colour of the liquid is {}, unlike in the other standards",
                    t.standard.name,
                    ends[i].in_words(t.standard.look.ends()),
                ),
                "if it was not mixed, shake it and photograph it again; if a lamp shines down the vial, use diffuse light",
            )
        })
        .collect()
}

/// A standard whose ends differ by more than this share of its dye, beyond all others of its session, and by more than this tint
/// (natural log), is worth a look.
const UNMIXED: f64 = 0.25;
const UNMIXED_TINT: f64 = 0.05;
