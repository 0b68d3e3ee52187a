//! Making a chart on the phone: standards photographed one after another, with the steps as they come to be.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Form, Request, State};
use axum::response::Redirect;
use jiff::tz::TimeZone;
use maud::{Markup, html};
use serde::Deserialize;

use super::parts::{LONGEST, LONGEST_NOTE, figure, found, line, needed, number, page, text};
use crate::chart::calibrate::Standard;
use crate::chart::resolve;
use crate::chart::{Medium, ReadWindow, Terms};
use crate::colour::Relative;
use crate::error::{Error, Result};
use crate::look::Where;
use crate::photo;
use crate::report::number::{plain, to_decimals};
use crate::report::text::clean;
use crate::web::guard::Asker;
use crate::web::readings::in_turn;
use crate::web::refusal::{Refusal, sentence};
use crate::web::session::{Progress, Step, lock, none};
use crate::web::state::Shared;
use crate::web::upload::{ACCEPT, Photo, receive};
use crate::web::words::Words;

/// Photos that are sent at once, of one standard.
const AT_ONCE: usize = 4;

/// The session of this device, or the form that begins one.
pub(super) async fn show(
    State(app): State<Shared>,
    words: Words,
    Extension(Asker(device)): Extension<Asker>,
) -> std::result::Result<Markup, Refusal> {
    let Some(session) = app.sessions.of(&device.name, app.now()) else {
        return Ok(beginning(words));
    };
    let progress = blocking(move || Ok(lock(&session).progress())).await?;
    Ok(going_on(words, &progress))
}

/// Work that takes a moment, on a thread of its own.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T> + Send + 'static,
) -> std::result::Result<T, Refusal> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(Refusal::because),
        Err(_) => Err(Refusal::failed(Error::new(
            "the program failed at this photo",
            "report this fault together with the photo",
        ))),
    }
}

fn beginning(words: Words) -> Markup {
    page(
        words,
        words.say("calibrate.title"),
        html! {
            p { (words.say("calibrate.what")) }
            form method="post" action="/calibrate" {
                (line(words.say("water.test"), "test", "", true))
                (line(words.say("water.unit"), "unit", "mg/L", true))
                label {
                    (words.say("calibrate.values"))
                    input name="values" required maxlength=(LONGEST) autocomplete="off" placeholder="0 5 10 20 40 80";
                    span.hint { (words.say("calibrate.values_hint")) }
                }
                label {
                    (words.say("water.medium"))
                    select name="medium" {
                        option value="" { (words.say("water.untold")) }
                        option value="salt" { (words.say("water.salt")) }
                        option value="fresh" { (words.say("water.fresh")) }
                    }
                }
                label {
                    (words.say("calibrate.procedure"))
                    textarea name="procedure" rows="3" maxlength=(LONGEST_NOTE) {}
                }
                p { (words.say("calibrate.window")) }
                div.pair {
                    (figure(words.say("calibrate.from"), "from_min", "", false))
                    (figure(words.say("calibrate.to"), "to_min", "", false))
                }
                (line(words.say("calibrate.lot"), "lot", "", false))
                label { (words.say("calibrate.expires")) input type="date" name="expires"; }
                div.caution {
                    p { (words.say("care.gloves")) }
                }
                button { (words.say("calibrate.begin")) }
            }
            p { a.away href="/waters" { (words.say("history.title")) } }
        },
    )
}

#[derive(Deserialize)]
pub(super) struct Begin {
    test: String,
    unit: String,
    values: String,
    #[serde(default)]
    medium: String,
    #[serde(default)]
    procedure: String,
    #[serde(default)]
    from_min: String,
    #[serde(default)]
    to_min: String,
    #[serde(default)]
    lot: String,
    #[serde(default)]
    expires: String,
}

/// Begins a session in place of the one there is.
pub(super) async fn begin(
    State(app): State<Shared>,
    Extension(Asker(device)): Extension<Asker>,
    Form(told): Form<Begin>,
) -> std::result::Result<Redirect, Refusal> {
    let (Some(test), Some(unit)) = (text(&told.test, LONGEST)?, text(&told.unit, 40)?) else {
        return Err(Refusal::wrong(
            "a chart has a test and a unit",
            "fill in both",
        ));
    };
    let terms = Terms {
        test,
        unit,
        medium: match told.medium.as_str() {
            "salt" => Some(Medium::Salt),
            "fresh" => Some(Medium::Fresh),
            _ => None,
        },
        procedure: text(&told.procedure, LONGEST_NOTE)?,
        read_window: window(&told)?,
        lot: text(&told.lot, LONGEST)?,
        expires: text(&told.expires, 10)?.map(date).transpose()?,
    };
    let values = values(&told.values)?;
    app.sessions
        .begin(&device.name, terms, values, app.now())
        .map_err(Refusal::because)?;
    Ok(Redirect::to("/calibrate"))
}

/// Numbers with space or semicolons between them; commas part them where points are the decimals, or space follows.
fn values(told: &str) -> std::result::Result<Vec<f64>, Refusal> {
    let parts = told.split(|c: char| c.is_whitespace() || c == ';');
    let parts = parts.flat_map(|p| {
        let p = p.trim_matches(',');
        // `0,5,10` and `0.5,1` are lists; `2,5` alone is a number with a decimal comma.
        let is_list = p.matches(',').count() > 1 || (p.contains(',') && p.contains('.'));
        if is_list {
            p.split(',').map(str::to_owned).collect()
        } else {
            vec![p.to_owned()]
        }
    });
    parts
        .filter(|p| !p.is_empty())
        .map(|p| concentration(&p))
        .collect()
}

fn concentration(told: &str) -> std::result::Result<f64, Refusal> {
    let v = needed(told, "the concentration")?;
    if !(0.0..=1e9).contains(&v) {
        return Err(Refusal::wrong(
            format!("{} is not a concentration", plain(v)),
            "give numbers from 0 to 1e9",
        ));
    }
    // Minus zero would be shown with its sign.
    Ok(v.abs())
}

fn window(told: &Begin) -> std::result::Result<Option<ReadWindow>, Refusal> {
    match (
        number(&told.from_min, "the start of the read window")?,
        number(&told.to_min, "its end")?,
    ) {
        (None, None) => Ok(None),
        (Some(from_min), Some(to_min)) if (ReadWindow { from_min, to_min }).is_one() => {
            Ok(Some(ReadWindow { from_min, to_min }))
        }
        _ => Err(Refusal::wrong(
            "the read window is no time from one minute to a later one",
            "write both, such as 5 and 10, or neither",
        )),
    }
}

fn date(told: String) -> std::result::Result<String, Refusal> {
    let parsed = told.parse::<jiff::civil::Date>();
    parsed
        .map(|d| d.to_string())
        .map_err(|_| Refusal::wrong("the date is not understood", "write it as 2027-03-31"))
}

fn going_on(words: Words, progress: &Progress) -> Markup {
    let Progress { terms, steps, .. } = progress;
    let unit = clean(&terms.unit);
    let ends = TimeZone::system().to_datetime(progress.ends);
    let title = words.fill("calibrate.of", &[("test", &clean(&terms.test))]);
    page(
        words,
        &title,
        html! {
            @if let Some((name, e)) = &progress.trouble {
                div.caution role="alert" {
                    p { strong { (words.say("calibrate.unusable")) } }
                    p lang="en" { (name) ": " (sentence(&clean(&e.what))) " " strong { (sentence(&clean(&e.fix))) } }
                }
            }
            @match progress.next {
                Some(next) => p { strong { (words.fill("calibrate.next", &[("value", &plain(next)), ("unit", &unit)])) } },
                None => p { strong { (words.say("calibrate.all_there")) } },
            }
            form method="post" action="/calibrate/photo" enctype="multipart/form-data" data-upload=(words.say("photo.sending")) {
                label {
                    (words.say("calibrate.standard"))
                    select name="value" {
                        @for step in steps {
                            option value=(step.value) selected[Some(step.value) == progress.next] { (plain(step.value)) " " (unit) }
                        }
                    }
                }
                label {
                    (words.say("calibrate.photo"))
                    input type="file" name="photo" accept=(ACCEPT) capture="environment" required data-preview="preview";
                }
                div #preview.preview {}
                button { (words.say("calibrate.send")) }
            }
            h2 #steps { (words.say("calibrate.steps")) }
            ul.plain { @for step in steps { (one(words, step, &unit)) } }
            (findings(words, progress))
            @if progress.is_ready() {
                form method="post" action="/calibrate/finish" {
                    button { (words.say("calibrate.finish")) }
                }
            }
            p.quiet { (words.fill("calibrate.kept_until", &[("time", &ends.strftime("%H:%M"))])) }
            form method="post" action="/calibrate/drop" {
                button.second { (words.say("calibrate.drop")) }
            }
        },
    )
}

/// A standard: its colour, told in words too, its photos, and whether it is told from the next.
fn one(words: Words, step: &Step, unit: &str) -> Markup {
    html! {
        li.row {
            div {
                strong { (plain(step.value)) " " (unit) }
                br;
                @match step.lab() {
                    None => span.quiet { (words.say("calibrate.no_photo")) },
                    Some(lab) => span.quiet {
                        (words.fill("calibrate.lab", &[
                            ("l", &whole(lab.l)),
                            ("a", &whole(lab.a)),
                            ("b", &whole(lab.b)),
                        ]))
                    },
                }
                @if let Some(next) = &step.next {
                    br;
                    @let places: [(&str, &dyn std::fmt::Display); 3] =
                        [("value", &plain(next.value)), ("unit", &unit), ("difference", &to_decimals(next.difference, 1))];
                    @if next.told_apart { (words.fill("calibrate.told_apart", &places)) }
                    @else { strong { (words.fill("calibrate.not_apart", &places)) } }
                }
                @for (number, name) in &step.photos {
                    form method="post" action="/calibrate/away" {
                        input type="hidden" name="photo" value=(number);
                        button.second { (words.fill("calibrate.away", &[("name", name)])) }
                    }
                }
            }
            @if let Some(colour) = step.colour { (swatch(colour)) }
        }
    }
}

/// A coordinate of a colour. What rounds to nothing has no sign.
fn whole(v: f64) -> String {
    match v.round() {
        v if v < 0.0 => format!("−{}", -v),
        v => format!("{}", v.abs()),
    }
}

/// The colour. A drawing, since the page's policy allows no styles of its own.
fn swatch(colour: Relative) -> Markup {
    let [r, g, b] = colour.to_srgb8();
    html! {
        svg.swatch viewBox="0 0 1 1" aria-hidden="true" {
            rect width="1" height="1" fill=(format!("#{r:02x}{g:02x}{b:02x}")) {}
        }
    }
}

fn findings(words: Words, progress: &Progress) -> Markup {
    html! {
        @match &progress.found {
            None => p { (words.fill("calibrate.lacking", &[("n", &progress.lacking())])) },
            Some(Err(e)) => div.caution lang="en" { p { (sentence(&clean(&e.what))) " " strong { (sentence(&clean(&e.fix))) } } },
            Some(Ok(flags)) => { (found(words, flags)) }
        }
    }
}

/// Takes photos of one standard.
pub(super) async fn photo(
    State(app): State<Shared>,
    Extension(Asker(device)): Extension<Asker>,
    request: Request,
) -> std::result::Result<Redirect, Refusal> {
    let mut form = receive(&app, request, AT_ONCE).await?;
    form.only(&["value"])?;
    let value = concentration(form.field("value").unwrap_or_default())?;
    if form.photos.is_empty() {
        return Err(Refusal::wrong("no photo was sent", "choose a photo"));
    }
    for photo in std::mem::take(&mut form.photos) {
        app.sessions.has_room(&device.name, app.now())?;
        let session = app.sessions.of(&device.name, app.now()).ok_or_else(none)?;
        let (looker, to, name) = (app.clone(), session.clone(), photo.name.clone());
        let added = in_turn(&app, move || {
            let (standard, sha256) = seen(&looker, photo, value)?;
            lock(&to).add(standard, sha256, looker.now())
        })
        .await?;
        let trouble = added.err().map(|e| (name, e));
        let failed = trouble.is_some();
        lock(&session).tell(trouble);
        if failed {
            break;
        }
    }
    Ok(Redirect::to("/calibrate"))
}

/// Looks at a photo. It is forgotten afterwards.
fn seen(app: &Shared, photo: Photo, value: f64) -> Result<(Standard, String)> {
    let decoded = photo::decode(&photo.bytes, &photo::Limits::default())?;
    drop(photo.bytes);
    let by = Where::Card(app.designs().to_vec());
    let standard = Standard::new(value, photo.name, &decoded, &by)?;
    Ok((standard, decoded.sha256))
}

#[derive(Deserialize)]
pub(super) struct Numbered {
    photo: u32,
}

/// Takes a photo away.
pub(super) async fn away(
    State(app): State<Shared>,
    Extension(Asker(device)): Extension<Asker>,
    Form(told): Form<Numbered>,
) -> std::result::Result<Redirect, Refusal> {
    let session = app.sessions.of(&device.name, app.now()).ok_or_else(none)?;
    lock(&session).take_away(told.photo);
    Ok(Redirect::to("/calibrate"))
}

/// Gives the session up.
pub(super) async fn give_up(
    State(app): State<Shared>,
    Extension(Asker(device)): Extension<Asker>,
) -> Redirect {
    app.sessions.end(&device.name);
    Redirect::to("/waters")
}

/// Writes the chart; from then on tests can be read with it.
pub(super) async fn finish(
    State(app): State<Shared>,
    words: Words,
    Extension(Asker(device)): Extension<Asker>,
) -> std::result::Result<Markup, Refusal> {
    let session = app.sessions.of(&device.name, app.now()).ok_or_else(none)?;
    let keeper = app.clone();
    let (listed, flags) = blocking(move || {
        let chart = lock(&session).chart()?;
        let flags = resolve::flags(&chart)?;
        Ok((keeper.keep_chart(chart)?, flags))
    })
    .await?;
    app.sessions.end(&device.name);
    let listed: &Arc<_> = &listed;
    Ok(page(
        words,
        words.say("calibrate.done"),
        html! {
            p { (words.fill("calibrate.ready", &[
                ("test", &clean(&listed.chart.terms.test)),
                ("file", &format!("{}.json", listed.name)),
            ])) }
            (found(words, &flags))
            ul.deeds {
                li { a href="/" { (words.say("water.test_it")) } }
                li { a href="/waters" { (words.say("history.title")) } }
            }
        },
    ))
}
