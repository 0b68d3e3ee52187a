//! Without the card: white paper and the liquid are touched on the photo, and the same pipeline reads them.
//!
//! Two touches and a look, each a page: pictures that are buttons send where they were touched without any script. Who cannot touch
//! gives numbers. The script lets the two boxes be dragged.

use std::sync::{Arc, OnceLock};

use axum::extract::{Form, Path, Query, Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use image::codecs::jpeg::JpegEncoder;
use maud::{Markup, html};
use serde::Deserialize;

use super::reading::{FIELDS, keep, look, walk_of};
use super::route::Walk;
use super::walk::camera;
use super::{care, layout};
use crate::capture::Started;
use crate::error::Error;
use crate::photo::{self, Limits};
use crate::place::Area;
use crate::reading::Told;
use crate::web::kept::{Shot, Thing, Unmarked, Upright, Vial};
use crate::web::readings::{Ask, chart, in_turn};
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::upload::{Photo, receive};
use crate::web::words::Words;

/// Width at which the photo is touched, pixels of the page; the stylesheet holds it to that. A touch is told in these.
const SHOWN: f64 = 320.0;
/// Width of the picture that is sent for it, pixels: sharp on a screen with three pixels to one of the page.
const SENT: u32 = 960;
/// Quality of that picture: it is only looked at.
const QUALITY: u8 = 80;
/// Sides of the boxes around a touch, parts of the photo's width: of white paper more is better; the liquid's fits into a vial
/// that takes up a tenth of the photo.
const WHITE: (f64, f64) = (0.08, 0.08);
const LIQUID: (f64, f64) = (0.035, 0.07);

/// Asks for a photo.
pub(super) async fn ask(
    State(app): State<Shared>,
    words: Words,
    Query(walk): Query<Walk>,
) -> Result<Markup, Refusal> {
    chart(&app, Some(&walk.chart))?;
    Ok(layout(
        words,
        words.say("hand.title"),
        html! {
            p { (words.say("hand.how")) }
            p.less { (words.say("reading.by_hand")) }
            form method="post" action="/by-hand" enctype="multipart/form-data" data-upload=(words.say("photo.sending")) {
                (walk.fields())
                (camera(words, true))
                div #preview.preview {}
                div.thumb { button { (words.say("hand.go_on")) } }
            }
            (care(words))
        },
    ))
}

/// Keeps the photo and leads to it.
pub(super) async fn take(State(app): State<Shared>, request: Request) -> Result<Redirect, Refusal> {
    let mut form = receive(&app, request, 1).await?;
    form.only(&FIELDS)?;
    let walk = walk_of(&form);
    chart(&app, Some(&walk.chart))?;
    let Some(Photo { name, bytes }) = form.photos.pop() else {
        return Err(Refusal::wrong("no photo was sent", "take a photo"));
    };
    let photo = Thing::Unmarked(Unmarked {
        walk,
        name,
        bytes,
        upright: OnceLock::new(),
    });
    let name = app.kept.put(photo, app.now()).map_err(Refusal::failed)?;
    Ok(Redirect::to(&format!("/by-hand/{name}")))
}

/// Where was touched so far.
#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Touched {
    white: String,
    vial: String,
    #[serde(rename = "white.x")]
    white_x: Option<f64>,
    #[serde(rename = "white.y")]
    white_y: Option<f64>,
    #[serde(rename = "vial.x")]
    vial_x: Option<f64>,
    #[serde(rename = "vial.y")]
    vial_y: Option<f64>,
}

/// Shows the photo for the next touch, or both boxes.
pub(super) async fn mark(
    State(app): State<Shared>,
    words: Words,
    Path(name): Path<String>,
    Query(touched): Query<Touched>,
) -> Result<Markup, Refusal> {
    let upright = upright(&app, &name).await?;
    let size = (f64::from(upright.width), f64::from(upright.height));
    let white =
        area(&touched.white)?.or_else(|| around(size, touched.white_x.zip(touched.white_y), WHITE));
    let vial =
        area(&touched.vial)?.or_else(|| around(size, touched.vial_x.zip(touched.vial_y), LIQUID));
    let picture = format!("/by-hand/{name}/photo.jpg");
    let here = format!("/by-hand/{name}");
    let (title, body) = match (white, vial) {
        (None, _) => (
            "hand.white_title",
            touch(words, &picture, &here, size, "white", None),
        ),
        (Some(white), None) => (
            "hand.vial_title",
            touch(words, &picture, &here, size, "vial", Some(white)),
        ),
        (Some(white), Some(vial)) => (
            "hand.check_title",
            check(words, &picture, &here, size, [white, vial]),
        ),
    };
    Ok(layout(words, words.say(title), body))
}

/// A region in an address.
fn area(text: &str) -> Result<Option<Area>, Refusal> {
    match text {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|e: String| Refusal::wrong("a region is not understood", e)),
    }
}

/// The box around a touch, within the photo. The corner is what a button sends that was pressed and not touched.
fn around(
    (width, height): (f64, f64),
    touch: Option<(f64, f64)>,
    (w, h): (f64, f64),
) -> Option<Area> {
    let (x, y) = touch.filter(|t| *t != (0.0, 0.0))?;
    let scale = width / SHOWN;
    let (w, h) = ((w * width).min(width), (h * width).min(height));
    let corner =
        |at: f64, side: f64, whole: f64| (at * scale - side / 2.0).clamp(0.0, whole - side);
    let corner = (corner(x, w, width), corner(y, h, height));
    Some(Area {
        x: corner.0.floor(),
        y: corner.1.floor(),
        w: w.floor(),
        h: h.floor(),
    })
}

fn touch(
    words: Words,
    picture: &str,
    here: &str,
    size: (f64, f64),
    what: &str,
    white: Option<Area>,
) -> Markup {
    let middle = |part, at| around(size, Some((SHOWN / 2.0, at)), part);
    let guess = |a: Option<Area>| a.map(|a| a.to_string()).unwrap_or_default();
    let by_numbers = format!(
        "{here}?white={}&vial={}",
        guess(white.or_else(|| middle(WHITE, SHOWN / 4.0))),
        guess(middle(LIQUID, SHOWN / 2.0))
    );
    html! {
        p { (words.say(if what == "white" { "hand.white_how" } else { "hand.vial_how" })) }
        form.touch method="get" action=(here) {
            @if let Some(white) = white { input type="hidden" name="white" value=(white); }
            input type="image" name=(what) src=(picture) width=(SHOWN) height=((SHOWN * size.1 / size.0).round())
                alt=(words.say(if what == "white" { "hand.white_alt" } else { "hand.vial_alt" }));
            (boxes(size, white, None))
        }
        @if white.is_some() { p { a.button.second href=(here) { (words.say("hand.white_again")) } } }
        p { a.button.second href=(by_numbers) { (words.say("hand.numbers")) } }
    }
}

/// The boxes over the photo.
fn boxes(size: (f64, f64), white: Option<Area>, vial: Option<Area>) -> Markup {
    html! {
        svg.boxes viewBox={ "0 0 " (size.0) " " (size.1) } aria-hidden="true" {
            @for (class, area) in [("white", white), ("vial", vial)] {
                @if let Some(a) = area { rect class=(class) x=(a.x) y=(a.y) width=(a.w) height=(a.h) {} }
            }
        }
    }
}

fn check(
    words: Words,
    picture: &str,
    here: &str,
    size: (f64, f64),
    [white, vial]: [Area; 2],
) -> Markup {
    let grown = |a: Area, by: f64| {
        let (w, h) = ((a.w * by).min(size.0), (a.h * by).min(size.1));
        let (x, y) = a.centre();
        Area {
            x: (x - w / 2.0).clamp(0.0, size.0 - w).floor(),
            y: (y - h / 2.0).clamp(0.0, size.1 - h).floor(),
            w: w.floor(),
            h: h.floor(),
        }
    };
    let to = |white: Area, vial: Area| format!("{here}?white={white}&vial={vial}");
    html! {
        p { (words.say("hand.check_how")) }
        div.touch data-boxes {
            img src=(picture) width=(SHOWN) height=((SHOWN * size.1 / size.0).round()) alt=(words.say("hand.check_alt"));
            (boxes(size, Some(white), Some(vial)))
        }
        form method="post" action=(here) {
            div.thumb { button { (words.say("photo.read")) } }
            div.pair {
                a.button.second href=(to(grown(white, 0.7), vial)) { (words.say("hand.white_smaller")) }
                a.button.second href=(to(grown(white, 1.4), vial)) { (words.say("hand.white_larger")) }
                a.button.second href=(to(white, grown(vial, 0.7))) { (words.say("hand.vial_smaller")) }
                a.button.second href=(to(white, grown(vial, 1.4))) { (words.say("hand.vial_larger")) }
            }
            p { a.button.second href=(here) { (words.say("hand.again")) } }
            details {
                summary { (words.say("hand.in_numbers")) }
                p.quiet { (words.fill("hand.pixels", &[("width", &size.0), ("height", &size.1)])) }
                @for (name, legend, a) in [("white", "hand.white", white), ("vial", "hand.vial", vial)] {
                    fieldset {
                        legend { (words.say(legend)) }
                        div.pair {
                            @for (side, label, value) in [
                                ("x", "hand.x", a.x), ("y", "hand.y", a.y), ("w", "hand.w", a.w), ("h", "hand.h", a.h),
                            ] {
                                div {
                                    label for={ (name) "-" (side) } { (words.say(label)) }
                                    input id={ (name) "-" (side) } name={ (name) "_" (side) } type="number" min="0"
                                        step="1" inputmode="numeric" required value=(value);
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The photo as it is touched.
pub(super) async fn picture(
    State(app): State<Shared>,
    Path(name): Path<String>,
) -> Result<Response, Refusal> {
    let upright = upright(&app, &name).await?;
    Ok((
        [(header::CONTENT_TYPE, "image/jpeg")],
        upright.jpeg.as_ref().clone(),
    )
        .into_response())
}

/// The kept photo made upright and small; decoded once.
async fn upright(app: &Shared, name: &str) -> Result<Upright, Refusal> {
    let kept = app.kept.unmarked(name, app.now())?;
    if let Some(upright) = kept.get()?.upright.get() {
        return upright.clone().map_err(Refusal::because);
    }
    in_turn(app, move || {
        let photo = kept.get()?;
        photo
            .upright
            .get_or_init(|| reduced(&photo.bytes))
            .clone()
            .map_err(Refusal::because)
    })
    .await?
}

fn reduced(bytes: &[u8]) -> crate::error::Result<Upright> {
    let picture = photo::decode(bytes, &Limits::default())?.picture;
    let full = picture.srgb8();
    let (width, height) = full.dimensions();
    let sent = SENT.min(width);
    let tall = (u64::from(height) * u64::from(sent) / u64::from(width)).max(1);
    let small = image::imageops::thumbnail(&full, sent, u32::try_from(tall).unwrap_or(SENT));
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(&small)
        .map_err(|_| Error::new("the photo cannot be shown", "take it anew"))?;
    Ok(Upright {
        jpeg: Arc::new(jpeg),
        width,
        height,
    })
}

/// The two boxes as they are sent.
#[derive(Deserialize)]
pub(super) struct Boxes {
    white_x: f64,
    white_y: f64,
    white_w: f64,
    white_h: f64,
    vial_x: f64,
    vial_y: f64,
    vial_w: f64,
    vial_h: f64,
}

/// Reads the photo by the boxes and leads to what came of it.
pub(super) async fn read(
    State(app): State<Shared>,
    Path(name): Path<String>,
    Form(b): Form<Boxes>,
) -> Result<Redirect, Refusal> {
    let kept = app.kept.unmarked(&name, app.now())?;
    let walk = kept.get()?.walk.clone();
    let chart = chart(&app, Some(&walk.chart))?;
    let area = |x, y, w, h| Area { x, y, w, h };
    let ask = Ask::by_hand(
        chart.clone(),
        area(b.white_x, b.white_y, b.white_w, b.white_h),
        area(b.vial_x, b.vial_y, b.vial_w, b.vial_h),
        told(&walk)?,
    )?;
    let shot = in_turn(&app, move || {
        let photo = kept.get()?;
        let copy = Photo {
            name: photo.name.clone(),
            bytes: photo.bytes.clone(),
        };
        Ok::<_, Refusal>(look(copy, &ask).0)
    })
    .await??;
    let shot = Shot {
        unmarked: Some(name),
        ..shot
    };
    keep(
        &app,
        Vial {
            chart,
            walk,
            shots: vec![Arc::new(shot)],
        },
    )
}

/// What the way here tells of the test.
fn told(walk: &Walk) -> Result<Told, Refusal> {
    let wrong = |e| Refusal::wrong("the address is not understood", e);
    let started: Option<Started> = match walk.started.as_str() {
        "" => None,
        text => Some(text.parse().map_err(wrong)?),
    };
    let dilution = match walk.dilution.as_str() {
        "" => None,
        text => Some(text.parse().map_err(wrong)?),
    };
    Ok(Told {
        started,
        dilution,
        blank: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_is_around_the_touch_and_within_the_photo() {
        let size = (1600.0, 1200.0);
        // Five pixels of the photo to one of the page.
        let b = around(size, Some((100.0, 60.0)), WHITE).unwrap();
        assert_eq!((b.x, b.y, b.w, b.h), (436.0, 236.0, 128.0, 128.0));
        let corner = around(size, Some((319.0, 239.0)), WHITE).unwrap();
        assert_eq!((corner.x + corner.w, corner.y + corner.h), size);
        assert_eq!(around(size, Some((0.0, 0.0)), WHITE), None);
        let far = around(size, Some((-1e9, f64::INFINITY)), LIQUID).unwrap();
        assert_eq!((far.x, far.y + far.h), (0.0, 1200.0));
    }
}
