//! Facts of the capture, from EXIF (CIPA DC-008 / JEITA CP-3451). Metadata never fails a photo: what is broken is unknown.

use ::exif::{Exif, In, Rational, Tag, Value};
use serde::Serialize;

/// Facts of the capture; `None` is unknown.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct CaptureFacts {
    /// Local date and time of the capture.
    pub taken_at: Option<jiff::civil::DateTime>,
    /// Offset of that time from UTC, such as `+02:00`.
    pub offset: Option<String>,
    /// Exposure time, seconds.
    pub exposure_s: Option<f64>,
    /// Aperture, f-number.
    pub f_number: Option<f64>,
    /// Sensitivity, ISO.
    pub iso: Option<u32>,
    /// Whether the flash fired.
    pub flash_fired: Option<bool>,
    /// Software that wrote the file.
    pub software: Option<String>,
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model of the camera.
    pub model: Option<String>,
    /// Model of the lens.
    pub lens: Option<String>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Focal length for the same view on 35 mm film, mm.
    pub focal_35mm_mm: Option<f64>,
    /// Digital zoom ratio; 1 is none.
    pub digital_zoom: Option<f64>,
}

impl CaptureFacts {
    /// Time of the capture in ISO 8601, with its offset if that is known.
    pub fn taken_at_text(&self) -> Option<String> {
        self.taken_at.map(|t| format!("{}{}", t.strftime("%Y-%m-%dT%H:%M:%S"), self.offset.as_deref().unwrap_or("")))
    }
}

/// Reads the facts from the bytes of an EXIF block. The second value tells whether the block was damaged.
pub(super) fn read(block: &[u8]) -> (CaptureFacts, bool) {
    // Some files carry the JPEG segment's own prefix in front of the TIFF header.
    let block = block.strip_prefix(b"Exif\0\0").unwrap_or(block);
    match ::exif::Reader::new().continue_on_error(true).read_raw(block.to_vec()) {
        Ok(exif) => (facts(&exif), false),
        Err(::exif::Error::PartialResult(partial)) => {
            let (exif, _) = partial.into_inner();
            (facts(&exif), true)
        }
        Err(_) => (CaptureFacts::default(), true),
    }
}

/// Whether the block announces Adobe RGB (interoperability index R03, DCF 2.0) rather than sRGB.
pub(super) fn announces_adobe_rgb(block: &[u8]) -> bool {
    let block = block.strip_prefix(b"Exif\0\0").unwrap_or(block);
    let Ok(exif) = ::exif::Reader::new().read_raw(block.to_vec()) else { return false };
    text(&exif, Tag::InteroperabilityIndex).as_deref() == Some("R03")
}

fn facts(exif: &Exif) -> CaptureFacts {
    let zoom = number(exif, Tag::DigitalZoomRatio).filter(|z| *z > 0.0);
    CaptureFacts {
        taken_at: [Tag::DateTimeOriginal, Tag::DateTimeDigitized, Tag::DateTime].iter().find_map(|t| time(exif, *t)),
        offset: [Tag::OffsetTimeOriginal, Tag::OffsetTimeDigitized, Tag::OffsetTime].iter().find_map(|t| offset(exif, *t)),
        exposure_s: number(exif, Tag::ExposureTime).filter(|v| *v > 0.0),
        f_number: number(exif, Tag::FNumber).filter(|v| *v > 0.0),
        iso: field(exif, Tag::PhotographicSensitivity).and_then(|v| v.get_uint(0)),
        flash_fired: field(exif, Tag::Flash).and_then(|v| v.get_uint(0)).map(|v| v & 1 == 1),
        software: text(exif, Tag::Software),
        make: text(exif, Tag::Make),
        model: text(exif, Tag::Model),
        lens: text(exif, Tag::LensModel),
        focal_mm: number(exif, Tag::FocalLength).filter(|v| *v > 0.0),
        focal_35mm_mm: field(exif, Tag::FocalLengthIn35mmFilm).and_then(|v| v.get_uint(0)).filter(|v| *v > 0).map(f64::from),
        digital_zoom: zoom,
    }
}

fn field(exif: &Exif, tag: Tag) -> Option<&Value> {
    exif.get_field(tag, In::PRIMARY).map(|f| &f.value)
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    match field(exif, tag)? {
        Value::Rational(v) => v.first().map(Rational::to_f64),
        other => other.get_uint(0).map(f64::from),
    }
    .filter(|v| v.is_finite())
}

fn text(exif: &Exif, tag: Tag) -> Option<String> {
    match field(exif, tag)? {
        Value::Ascii(lines) => {
            let line = String::from_utf8_lossy(lines.first()?);
            let clean: String = line.chars().filter(|c| !c.is_control()).take(200).collect();
            let clean = clean.trim();
            (!clean.is_empty()).then(|| clean.to_owned())
        }
        _ => None,
    }
}

/// `2026:11-25 10:00:00` and its like; the standard's blank date is unknown.
fn time(exif: &Exif, tag: Tag) -> Option<jiff::civil::DateTime> {
    jiff::civil::DateTime::strptime("%Y:%m:%d %H:%M:%S", text(exif, tag)?.get(..19)?).ok()
}

fn offset(exif: &Exif, tag: Tag) -> Option<String> {
    let t = text(exif, tag)?;
    let b = t.as_bytes();
    let digits = |r: std::ops::Range<usize>| t.get(r).and_then(|s| s.parse::<u32>().ok());
    let fine = b.len() == 6
        && matches!(b[0], b'+' | b'-')
        && b[3] == b':'
        && digits(1..3).is_some_and(|h| h <= 14)
        && digits(4..6).is_some_and(|m| m < 60);
    fine.then_some(t)
}
