//! Forms with photos: taken within limits, and only as many at a time as may be held in memory.

use std::collections::BTreeMap;

use axum::extract::{FromRequest, Multipart, Request, multipart};
use axum::http::StatusCode;
use tokio::sync::OwnedSemaphorePermit;

use super::guard::drain;
use super::refusal::Refusal;
use super::state::App;
use crate::report::text::clean;

/// The part of a form that holds a photo.
pub(super) const PHOTO: &str = "photo";
/// What a page lets one choose. Where HEIC is not read it is not named: a phone then hands over a JPEG (common practice of phones'
/// browsers).
pub(super) const ACCEPT: &str = if cfg!(feature = "heic") {
    "image/jpeg,image/heic,image/png,image/webp"
} else {
    "image/jpeg,image/png,image/webp"
};
/// Longest name of a photo that is shown, characters.
const LONGEST_NAME: usize = 100;
/// Seconds after which a busy server is asked again: about what the photos before take.
const AGAIN: i64 = 5;

/// A photo as it came.
pub(super) struct Photo {
    /// What the client calls it, fit for showing; never a path.
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
}

/// A form that was taken.
pub(super) struct Received {
    pub(super) photos: Vec<Photo>,
    fields: BTreeMap<String, String>,
    /// The place in memory of its photos.
    pub(super) place: OwnedSemaphorePermit,
}

impl Received {
    /// A field without the space around it; `None` if it is empty or was not sent.
    pub(super) fn field(&self, name: &str) -> Option<&str> {
        self.fields
            .get(name)
            .map(|v| v.trim())
            .filter(|v| !v.is_empty())
    }

    /// Refuses fields of other names, which are mistakes.
    pub(super) fn only(&self, names: &[&str]) -> Result<(), Refusal> {
        match self.fields.keys().find(|k| !names.contains(&k.as_str())) {
            Some(other) => Err(Refusal::wrong(
                format!("there is no field {other}"),
                format!("fields are {PHOTO} and {}", names.join(", ")),
            )),
            None => Ok(()),
        }
    }
}

/// Takes a form of at most so many photos, in the part `photo`.
pub(super) async fn receive(
    app: &App,
    request: Request,
    most_photos: usize,
) -> Result<Received, Refusal> {
    let Ok(place) = app.uploads.clone().try_acquire_owned() else {
        drain(request.into_body()).await;
        return Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "other photos are being read",
            "try again in a few seconds",
        )
        .after(AGAIN));
    };
    let mut form = Multipart::from_request(request, &()).await.map_err(|_| {
        Refusal::wrong(
            "this is no form with a photo",
            "send it as multipart/form-data",
        )
    })?;
    let mut received = Received {
        photos: Vec::new(),
        fields: BTreeMap::new(),
        place,
    };
    let mut parts = 0;
    while let Some(part) = form.next_field().await.map_err(|e| broken(&e))? {
        parts += 1;
        if parts > app.limits.parts {
            return Err(Refusal::wrong(
                format!("the form has more than {} parts", app.limits.parts),
                "send only what is asked for",
            ));
        }
        let name = part.name().unwrap_or_default().to_owned();
        if name == PHOTO {
            photo(part, most_photos, &mut received.photos).await?;
        } else {
            let value = text(part, app.limits.field_bytes).await?;
            if received.fields.insert(name.clone(), value).is_some() {
                return Err(Refusal::wrong(
                    format!("the field {name} comes twice"),
                    "send it once",
                ));
            }
        }
    }
    Ok(received)
}

async fn photo(
    part: multipart::Field<'_>,
    most: usize,
    photos: &mut Vec<Photo>,
) -> Result<(), Refusal> {
    let told = part.file_name().unwrap_or_default().to_owned();
    let bytes = part.bytes().await.map_err(|e| broken(&e))?;
    // A browser sends a nameless, empty part where no file was chosen.
    if told.is_empty() && bytes.is_empty() {
        return Ok(());
    }
    if photos.len() == most {
        return Err(Refusal::wrong(
            format!("more photos than {most}"),
            "send fewer at a time",
        ));
    }
    let name: String = clean(&told).chars().take(LONGEST_NAME).collect();
    photos.push(Photo {
        name: if name.is_empty() {
            "photo".into()
        } else {
            name
        },
        bytes: bytes.into(),
    });
    Ok(())
}

async fn text(mut part: multipart::Field<'_>, most: usize) -> Result<String, Refusal> {
    let mut bytes = Vec::new();
    while let Some(chunk) = part.chunk().await.map_err(|e| broken(&e))? {
        if bytes.len() + chunk.len() > most {
            return Err(Refusal::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("a field has more than {most} bytes"),
                "write less",
            ));
        }
        bytes.extend_from_slice(&chunk);
    }
    String::from_utf8(bytes)
        .map_err(|_| Refusal::wrong("a field is not text (UTF-8)", "write it anew"))
}

fn broken(e: &multipart::MultipartError) -> Refusal {
    match e.status() {
        StatusCode::PAYLOAD_TOO_LARGE => Refusal::of(StatusCode::PAYLOAD_TOO_LARGE),
        _ => Refusal::wrong(
            "the form is damaged, or did not come whole",
            "send it again, nearer to the router if need be",
        ),
    }
}
