//! The page that shows what came of a vial: the value first, whether to trust it, what to do, and where the program looked.

use maud::{Markup, html};

use super::scale::scale;
use super::{taken_at, together};
use crate::face::keep::listed;
use crate::flag::{Flag, Verdict};
use crate::logbook::{Added, Amount};
use crate::reading::{Answer, LEVEL};
use crate::report::number;
use crate::report::text::clean;
use crate::web::kept::Vial;
use crate::web::pages::parts::found;
use crate::web::pages::route::{Walk, now};
use crate::web::pages::walk::PHOTOS;
use crate::web::pages::{care, layout};
use crate::web::refusal::sentence;
use crate::web::state::App;
use crate::web::words::Words;

/// What became of saving.
pub(super) struct Saved(pub(super) Option<Added>);

/// What is told of the vial, from one photo or from several.
struct Told {
    answer: Option<Answer>,
    on_chart: Option<Answer>,
    verdict: Verdict,
    flags: Vec<Flag>,
    /// Colours of the photos that the answer rests on.
    colours: Vec<[u8; 3]>,
    /// Whether the sample was diluted.
    diluted: bool,
}

impl Told {
    fn of(vial: &Vial) -> Told {
        let colour = |i: usize| {
            let reading = vial.shots.get(i)?.outcome.result.as_ref().ok()?;
            Some(reading.value.colour.to_srgb8())
        };
        if let Some(checked) = together(vial) {
            let r = checked.value;
            return Told {
                diluted: r.dilution.is_some(),
                colours: r.used.iter().filter_map(|&i| colour(i)).collect(),
                answer: r.answer,
                on_chart: r.on_chart,
                verdict: r.verdict,
                flags: checked.flags,
            };
        }
        let outcome = &vial.shots[0].outcome;
        let reading = outcome.result.as_ref().ok().map(|r| &r.value);
        Told {
            answer: reading.map(|r| r.answer.clone()),
            on_chart: reading.map(|r| r.on_chart.clone()),
            verdict: outcome.verdict(),
            flags: outcome.flags(),
            colours: colour(0).into_iter().collect(),
            diluted: reading.is_some_and(|r| r.dilution.is_some()),
        }
    }

    /// Whether there is something that a logbook takes.
    fn savable(&self) -> bool {
        self.verdict != Verdict::Unreadable && self.answer.as_ref().and_then(Amount::of).is_some()
    }
}

/// The test, and whose water it was.
fn title(words: Words, vial: &Vial) -> String {
    let test = clean(&vial.chart.chart.terms.test);
    match clean(&vial.walk.water) {
        water if water.is_empty() => test,
        water => words.fill("reading.title", &[("test", &test), ("water", &water)]),
    }
}

/// The page.
pub(super) fn page(
    words: Words,
    name: &str,
    vial: &Vial,
    app: &App,
    saved: Option<Saved>,
) -> Markup {
    let told = Told::of(vial);
    let chart = &vial.chart.chart;
    let unit = clean(&chart.terms.unit);
    let by_hand = vial.shots.iter().any(|s| s.outcome.regions.is_some());
    let is_saved = saved.is_some();
    layout(
        words,
        &title(words, vial),
        html! {
            @if let Some(saved) = saved { (became(words, &saved, vial)) }
            (value(words, told.answer.as_ref(), &unit))
            @if let (true, Some(on_chart)) = (told.diluted, &told.on_chart) {
                p.quiet { (words.fill("reading.diluted", &[("value", &amount(words, on_chart, &unit).0)])) }
            }
            (verdict(words, told.verdict, &told.flags))
            @if by_hand { p.less { (words.say("reading.by_hand")) } }
            @if !told.colours.is_empty() {
                (scale(words, chart, &told.colours, told.on_chart.as_ref()))
            }
            (findings(words, &told.flags))
            @if !is_saved { (to_save(words, name, vial, app, &told)) }
            (next(words, name, vial, &told, is_saved))
            (looked(words, name, vial))
            (care(words))
            p { a href="/" { (words.say("layout.home")) } }
        },
    )
}

fn became(words: Words, saved: &Saved, vial: &Vial) -> Markup {
    let water = clean(&vial.walk.water);
    let text = match &saved.0 {
        Some(Added::New(entry)) => words.fill("save.new", &[("water", &water), ("entry", entry)]),
        Some(Added::InPlaceOf(entry, old)) => words.fill(
            "save.instead",
            &[("water", &water), ("entry", entry), ("old", &listed(old))],
        ),
        Some(Added::Known(entry)) => {
            words.fill("save.known", &[("water", &water), ("entry", entry)])
        }
        None => words.say("save.nothing").into(),
    };
    html! { p.said role="status" { (text) } }
}

fn value(words: Words, answer: Option<&Answer>, unit: &str) -> Markup {
    let Some(answer) = answer else {
        return html! { p.value { (words.say("reading.none")) } };
    };
    let (value, interval) = amount(words, answer, unit);
    html! {
        p.value { (value) }
        @if let Some(interval) = interval {
            p.between {
                (words.fill("reading.interval", &[("interval", &interval), ("unit", &unit), ("level", &(100.0 * LEVEL).round())]))
            }
        }
    }
}

/// An answer with as many digits as its interval bears, and that interval.
fn amount(words: Words, answer: &Answer, unit: &str) -> (String, Option<String>) {
    let with_unit = |key, value: String| words.fill(key, &[("value", &value), ("unit", &unit)]);
    match answer {
        Answer::Value { value, low, high } => {
            let d = number::decimals((high - low) / 2.0);
            let [value, low, high] = [value, low, high].map(|v| number::to_decimals(*v, d));
            let interval = words.fill("reading.to", &[("low", &low), ("high", &high)]);
            (with_unit("reading.value", value), Some(interval))
        }
        Answer::Below { high } => {
            let high = number::rounded_up(*high);
            let interval = words.fill("reading.to", &[("low", &0), ("high", &high)]);
            (with_unit("reading.below", high), Some(interval))
        }
        Answer::Under { high } => (with_unit("reading.below", number::rounded_up(*high)), None),
        Answer::Above { low } => (with_unit("reading.above", number::rounded_down(*low)), None),
        Answer::OffChart => (words.say("reading.off_chart").into(), None),
    }
}

/// A sign of its own shape for each verdict, and the word with what it means.
fn verdict(words: Words, verdict: Verdict, flags: &[Flag]) -> Markup {
    let (class, shape, word, means) = match verdict {
        Verdict::Trusted => (
            "good",
            "M4 13l5 5L20 6",
            "verdict.trusted",
            if flags.is_empty() {
                "verdict.trusted_means"
            } else {
                "verdict.trusted_noted"
            },
        ),
        Verdict::Doubtful => (
            "doubt",
            "M12 4v10M12 18v2",
            "verdict.doubtful",
            "verdict.doubtful_means",
        ),
        Verdict::Unreadable => (
            "stop",
            "M5 5l14 14M19 5L5 19",
            "verdict.unreadable",
            "verdict.unreadable_means",
        ),
    };
    html! {
        p class={ "verdict " (class) } {
            svg viewBox="0 0 24 24" aria-hidden="true" { path d=(shape) {} }
            span { strong { (words.say(word)) } " " (words.say(means)) }
        }
    }
}

/// What was noticed, most severe first, with what to do about it.
fn findings(words: Words, flags: &[Flag]) -> Markup {
    html! {
        @if !flags.is_empty() {
            h2 { (words.say("findings.title")) }
            @if words.code() != "en" { p.quiet { (words.say("layout.english_parts")) } }
            (found(words, flags))
        }
    }
}

fn to_save(words: Words, name: &str, vial: &Vial, app: &App, told: &Told) -> Markup {
    let water = clean(&vial.walk.water);
    html! {
        @if !water.is_empty() && told.savable() {
            form method="post" action={ "/reading/" (name) "/save" } {
                label for="note" { (words.say("save.note")) }
                input #note name="note" maxlength="400" autocomplete="off";
                @if taken_at(vial).is_none() {
                    label for="at" { (words.say("save.at")) }
                    input #at name="at" type="datetime-local" required aria-describedby="at-hint"
                        value=(now(app).get(..16).unwrap_or_default());
                    p.quiet #at-hint { (words.say("save.at_hint")) }
                }
                button class=[(told.verdict != Verdict::Trusted).then_some("second")] { (words.fill("save.save", &[("water", &water)])) }
            }
        } @else if !water.is_empty() {
            p.quiet { (words.say("save.nothing")) }
        }
    }
}

/// What can be done next: again, one more, or by hand.
fn next(words: Words, name: &str, vial: &Vial, told: &Told, is_saved: bool) -> Markup {
    let again = Walk {
        with: String::new(),
        ..vial.walk.clone()
    };
    let another = Walk {
        with: name.to_owned(),
        ..vial.walk.clone()
    };
    let unmarked = vial.shots.iter().find_map(|s| s.unmarked.as_ref());
    // A photo that was marked by hand is no company for one that was read by the card: they are seen differently.
    let by_card = vial.shots.iter().all(|s| s.outcome.regions.is_none());
    html! {
        div.thumb {
            a class=(if is_saved || told.verdict == Verdict::Trusted { "button second" } else { "button" }) href=(again.at("/photo")) {
                (words.say("reading.again"))
            }
            @if by_card && told.answer.is_some() && vial.shots.len() < PHOTOS {
                a.button.second href=(another.at("/photo")) { (words.say("reading.another")) }
            }
            @if let Some(unmarked) = unmarked {
                a.button.second href={ "/by-hand/" (unmarked) } { (words.say("reading.touch")) }
            }
        }
    }
}

fn looked(words: Words, name: &str, vial: &Vial) -> Markup {
    html! {
        h2 { (words.say("looked.title")) }
        @for (i, shot) in vial.shots.iter().enumerate() {
            @let photo = &shot.outcome.photo;
            @if shot.small.is_some() {
                p {
                    a.picture href={ "/reading/" (name) "/" (i) "/large.png" } {
                        img src={ "/reading/" (name) "/" (i) "/small.jpg" } alt=(words.fill("looked.alt", &[("photo", photo)]));
                        span { (words.say("looked.enlarge")) }
                    }
                }
            }
            p.quiet {
                (photo)
                @if let Some(taken) = &shot.outcome.taken_at { ", " (words.fill("looked.taken", &[("time", taken)])) }
                @if vial.shots.len() > 1 {
                    @match &shot.outcome.result {
                        Ok(reading) => {
                            ": " (amount(words, &reading.value.answer, &clean(&reading.value.unit)).0)
                        },
                        Err(e) => {
                            ": " (words.say("reading.none")) " "
                            span lang="en" { (sentence(&clean(&e.what))) " " (sentence(&clean(&e.fix))) }
                        },
                    }
                }
            }
        }
    }
}
