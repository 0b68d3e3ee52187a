//! The photo as a file: JPEG with EXIF, and a Display P3 profile where the phone works in it.

use image::ImageEncoder;
use image::codecs::jpeg::JpegEncoder;

/// What the camera writes about a shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Capture {
    /// `YYYY:MM:DD HH:MM:SS`, local time.
    pub taken_at: String,
    /// Offset from UTC, such as `-08:00`.
    pub offset: String,
    /// EXIF orientation of the file: 1, 3, 6 or 8. The stored pixels are turned so that the upright view is the scene's.
    pub orientation: u16,
    /// Software to name, if any.
    pub software: Option<String>,
    /// Exposure time, seconds.
    pub seconds: f64,
}

/// EXIF 2.32 block (CIPA DC-008), little-endian, of what [`Capture`] holds.
pub fn exif(capture: &Capture, model: &str, iso: u16, flash: bool) -> Vec<u8> {
    let text = |s: &str| {
        let mut b = s.as_bytes().to_vec();
        b.push(0);
        b
    };
    let ratio = |n: u32, d: u32| [n.to_le_bytes(), d.to_le_bytes()].concat();
    let short = |v: u16| v.to_le_bytes().to_vec();
    let denominator = (1.0 / capture.seconds.max(1e-5)).round().max(1.0) as u32;
    // Tag, type (2 text, 3 short, 4 long, 5 ratio), payload.
    let mut main: Vec<(u16, u16, Vec<u8>)> = vec![
        (0x010F, 2, text("Simulated")),
        (0x0110, 2, text(model)),
        (0x0112, 3, short(capture.orientation)),
        (0x0132, 2, text(&capture.taken_at)),
        (0x8769, 4, vec![0; 4]),
    ];
    if let Some(s) = &capture.software {
        main.insert(3, (0x0131, 2, text(s)));
    }
    let inner: Vec<(u16, u16, Vec<u8>)> = vec![
        (0x829A, 5, ratio(1, denominator)),
        (0x829D, 5, ratio(18, 10)),
        (0x8827, 3, short(iso)),
        (0x9000, 7, b"0232".to_vec()),
        (0x9003, 2, text(&capture.taken_at)),
        (0x9011, 2, text(&capture.offset)),
        (0x9209, 3, short(if flash { 0x09 } else { 0x10 })),
        (0x920A, 5, ratio(52, 10)),
    ];
    let size = |d: &[(u16, u16, Vec<u8>)]| {
        2 + 12 * d.len()
            + 4
            + d.iter()
                .map(|(_, _, p)| {
                    if p.len() > 4 {
                        p.len() + p.len() % 2
                    } else {
                        0
                    }
                })
                .sum::<usize>()
    };
    let inner_at = 8 + size(&main);
    for entry in &mut main {
        if entry.0 == 0x8769 {
            entry.2 = (inner_at as u32).to_le_bytes().to_vec();
        }
    }
    let mut out = b"II*\0\x08\0\0\0".to_vec();
    for directory in [&main, &inner] {
        let mut data_at = out.len() + 2 + 12 * directory.len() + 4;
        let mut data = Vec::new();
        out.extend((directory.len() as u16).to_le_bytes());
        for (tag, kind, payload) in directory {
            let unit = match kind {
                3 => 2,
                4 => 4,
                5 => 8,
                _ => 1,
            };
            out.extend(tag.to_le_bytes());
            out.extend(kind.to_le_bytes());
            out.extend(((payload.len() / unit) as u32).to_le_bytes());
            if payload.len() <= 4 {
                let mut p = payload.clone();
                p.resize(4, 0);
                out.extend(p);
            } else {
                out.extend((data_at as u32).to_le_bytes());
                data.extend(payload);
                data.resize(data.len() + payload.len() % 2, 0);
                data_at += payload.len() + payload.len() % 2;
            }
        }
        out.extend([0; 4]);
        out.extend(data);
    }
    out
}

/// Encodes an upright picture, turned as its orientation asks.
pub fn jpeg(
    picture: &image::RgbImage,
    quality: u8,
    orientation: u16,
    exif: Vec<u8>,
    icc: Option<Vec<u8>>,
) -> Vec<u8> {
    let turned = match orientation {
        3 => Some(image::imageops::rotate180(picture)),
        6 => Some(image::imageops::rotate270(picture)),
        8 => Some(image::imageops::rotate90(picture)),
        _ => None,
    };
    let picture = turned.as_ref().unwrap_or(picture);
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, quality);
    encoder.set_exif_metadata(exif).expect("JPEG holds EXIF");
    if let Some(profile) = icc {
        encoder
            .set_icc_profile(profile)
            .expect("JPEG holds profiles");
    }
    let (w, h) = picture.dimensions();
    encoder
        .write_image(picture.as_raw(), w, h, image::ExtendedColorType::Rgb8)
        .expect("a picture in memory");
    out
}
