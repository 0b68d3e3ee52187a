//! Facts of the capture, from EXIF (CIPA DC-008 / JEITA CP-3451). Metadata never fails a photo: what is broken is unknown.

use ::exif::{Exif, In, Rational, SRational, Tag, Value};
use serde::Serialize;

/// Facts of the capture; `None` is unknown.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct CaptureFacts {
    /// Local date and time of the capture, to the second.
    pub taken_at: Option<jiff::civil::DateTime>,
    /// Offset of that time from UTC, such as `+02:00`.
    pub offset: Option<String>,
    /// Local date and time of the file's last change, by the camera or by an editor.
    pub modified_at: Option<jiff::civil::DateTime>,
    /// Exposure time, seconds.
    pub exposure_s: Option<f64>,
    /// Aperture, f-number.
    pub f_number: Option<f64>,
    /// Sensitivity, ISO.
    pub iso: Option<u32>,
    /// Exposure compensation, steps of a factor of two.
    pub exposure_bias_ev: Option<f64>,
    /// Whether the camera chose the white balance itself.
    pub white_balance_auto: Option<bool>,
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
    /// Width and height of the stored picture (not turned upright) when the camera wrote it, pixels: others than the
    /// file's own tell of cropping or scaling.
    pub written_size: Option<(u32, u32)>,
    /// Whether the file calls itself a screenshot.
    pub screenshot: Option<bool>,
    /// Whether the file says that it was processed in a special way, or with raised contrast or saturation.
    pub processed: Option<bool>,
}

impl CaptureFacts {
    /// Time of the capture in ISO 8601, with its offset if that is known.
    pub fn taken_at_text(&self) -> Option<String> {
        self.taken_at.map(|t| {
            format!(
                "{}{}",
                t.strftime("%Y-%m-%dT%H:%M:%S"),
                self.offset.as_deref().unwrap_or("")
            )
        })
    }
}

/// What an EXIF block gave.
#[derive(Default)]
pub(super) struct ExifRead {
    pub facts: CaptureFacts,
    /// Something in the block could not be read.
    pub damaged: bool,
    /// The camera announces Adobe RGB (interoperability index R03, DCF 2.0) rather than sRGB.
    pub announces_adobe_rgb: bool,
}

/// Reads the bytes of an EXIF block.
pub(super) fn read(block: &[u8]) -> ExifRead {
    // Some files carry the JPEG segment's own prefix in front of the TIFF header.
    let block = block.strip_prefix(b"Exif\0\0").unwrap_or(block);
    let (exif, damaged) = match ::exif::Reader::new()
        .continue_on_error(true)
        .read_raw(block.to_vec())
    {
        Ok(exif) => (exif, false),
        Err(::exif::Error::PartialResult(partial)) => {
            let (exif, faults) = partial.into_inner();
            (exif, !faults.iter().all(only_the_link))
        }
        Err(_) => {
            return ExifRead {
                damaged: true,
                ..ExifRead::default()
            };
        }
    };
    ExifRead {
        facts: facts(&exif),
        damaged,
        announces_adobe_rgb: text(&exif, Tag::InteroperabilityIndex).as_deref() == Some("R03"),
    }
}

/// Whether nothing is lost by a fault: some writers leave out the link that ends a directory inside another (TIFF 6.0, section 2:
/// four bytes, zero at the last one), and what stands in its place is taken for one.
fn only_the_link(fault: &::exif::Error) -> bool {
    matches!(
        fault,
        ::exif::Error::InvalidFormat("Unexpected next IFD" | "Truncated next IFD offset")
    )
}

fn facts(exif: &Exif) -> CaptureFacts {
    let positive = |tag| number(exif, tag).filter(|v| *v > 0.0);
    // A time takes its offset from the field that belongs to it, never from another's.
    let (taken_at, offset_tag) = [
        (Tag::DateTimeOriginal, Tag::OffsetTimeOriginal),
        (Tag::DateTimeDigitized, Tag::OffsetTimeDigitized),
    ]
    .into_iter()
    .find_map(|(t, offset)| Some((time(exif, t)?, offset)))
    .unzip();
    CaptureFacts {
        taken_at,
        offset: offset_tag.and_then(|tag| offset(exif, tag)),
        modified_at: time(exif, Tag::DateTime),
        exposure_s: positive(Tag::ExposureTime),
        f_number: positive(Tag::FNumber),
        // 65535 says "see another field", whose meaning differs between makers.
        iso: uint(exif, Tag::PhotographicSensitivity).filter(|v| (1..65535).contains(v)),
        exposure_bias_ev: number(exif, Tag::ExposureBiasValue),
        white_balance_auto: uint(exif, Tag::WhiteBalance).and_then(|v| match v {
            0 => Some(true),
            1 => Some(false),
            _ => None,
        }),
        flash_fired: uint(exif, Tag::Flash).map(|v| v & 1 == 1),
        software: text(exif, Tag::Software),
        make: text(exif, Tag::Make),
        model: text(exif, Tag::Model),
        lens: text(exif, Tag::LensModel),
        focal_mm: positive(Tag::FocalLength),
        focal_35mm_mm: positive(Tag::FocalLengthIn35mmFilm),
        digital_zoom: digital_zoom(exif),
        written_size: uint(exif, Tag::PixelXDimension).zip(uint(exif, Tag::PixelYDimension)),
        screenshot: screenshot(exif),
        processed: processed(exif),
    }
}

/// A numerator of 0 says that no digital zoom was used (CIPA DC-008, DigitalZoomRatio).
fn digital_zoom(exif: &Exif) -> Option<f64> {
    match field(exif, Tag::DigitalZoomRatio)? {
        Value::Rational(v) if v.first()?.num == 0 => Some(1.0),
        _ => number(exif, Tag::DigitalZoomRatio).filter(|v| *v > 0.0),
    }
}

/// CustomRendered 1 is a custom process, Contrast 2 hard, Saturation 2 high (CIPA DC-008-2019, 4.6.5); phones write other numbers of
/// their own into the first.
fn processed(exif: &Exif) -> Option<bool> {
    let says = [
        (Tag::CustomRendered, 1),
        (Tag::Contrast, 2),
        (Tag::Saturation, 2),
    ]
    .map(|(tag, special)| uint(exif, tag).map(|v| v == special));
    says.into_iter().flatten().reduce(|a, b| a || b)
}

/// Phones write the word into the comment; a file without it may be one all the same.
fn screenshot(exif: &Exif) -> Option<bool> {
    match field(exif, Tag::UserComment)? {
        // Eight bytes name the character code, the comment follows.
        Value::Undefined(v, _) => v.get(8..)?.starts_with(b"Screenshot").then_some(true),
        _ => None,
    }
}

fn field(exif: &Exif, tag: Tag) -> Option<&Value> {
    exif.get_field(tag, In::PRIMARY).map(|f| &f.value)
}

fn uint(exif: &Exif, tag: Tag) -> Option<u32> {
    field(exif, tag)?.get_uint(0)
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    match field(exif, tag)? {
        Value::Rational(v) => v.first().map(Rational::to_f64),
        Value::SRational(v) => v.first().map(SRational::to_f64),
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

/// A time such as `2026:11:25 10:00:00`; the standard's blank date is unknown.
fn time(exif: &Exif, tag: Tag) -> Option<jiff::civil::DateTime> {
    jiff::civil::DateTime::strptime("%Y:%m:%d %H:%M:%S", text(exif, tag)?.get(..19)?).ok()
}

/// An offset such as `-08:00`: between -14:00 and +14:00, as far as the world's time zones go.
fn offset(exif: &Exif, tag: Tag) -> Option<String> {
    let text = text(exif, tag)?;
    let [b'+' | b'-', h1, h0, b':', m1, m0] = *text.as_bytes() else {
        return None;
    };
    let pair = |a: u8, b: u8| {
        (a.is_ascii_digit() && b.is_ascii_digit()).then(|| 10 * (a - b'0') + (b - b'0'))
    };
    let minutes = u32::from(pair(h1, h0)?) * 60 + u32::from(pair(m1, m0).filter(|m| *m < 60)?);
    (minutes <= 14 * 60).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Little-endian TIFF with one directory, which leads to another with the time of the capture; the link that ends that one is left
    /// out, as some writers do, and the text follows at once.
    fn without_link(count: u32) -> Vec<u8> {
        let mut block = b"II*\0\x08\0\0\0".to_vec();
        let mut entry = |tag: u16, kind: u16, count: u32, value: u32| {
            block.extend([1, 0]);
            block.extend(tag.to_le_bytes());
            block.extend(kind.to_le_bytes());
            block.extend(count.to_le_bytes());
            block.extend(value.to_le_bytes());
            if tag == 0x8769 {
                block.extend([0; 4]);
            }
        };
        entry(0x8769, 4, 1, 26);
        entry(0x9003, 2, count, 40);
        block.extend(b"2026:02:23 09:05:12\0");
        block
    }

    #[test]
    fn a_missing_link_loses_nothing() {
        let read = read(&without_link(20));
        let taken = read.facts.taken_at.map(|t| t.to_string());
        assert_eq!(taken.as_deref(), Some("2026-02-23T09:05:12"));
        assert!(!read.damaged);
    }

    #[test]
    fn a_field_that_is_cut_off_is_damage() {
        assert!(read(&without_link(4000)).damaged);
    }
}
