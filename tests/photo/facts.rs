//! Orientation and facts of the capture.

use exif::{Rational, SRational, Tag, Value};
use image::ExtendedColorType::Rgb8;
use tintwell::photo::{CaptureFacts, Limits, decode};

use crate::files::{Extras, exif, jpeg, png, tiff, webp};

fn ascii(s: &str) -> Value {
    Value::Ascii(vec![s.as_bytes().to_vec()])
}

fn ratio(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

fn facts_of(fields: &[(Tag, Value)]) -> CaptureFacts {
    let extras = Extras {
        exif: Some(exif(fields)),
        icc: None,
    };
    decode(&jpeg(16, 16, &[90; 768], extras), &Limits::default())
        .expect("a photo")
        .facts
}

/// Four flat quarters of 16 x 8 pixels each, stored as `A B` over `C D`.
const QUARTERS: [(char, [u8; 3]); 4] = [
    ('A', [220, 40, 40]),
    ('B', [40, 200, 40]),
    ('C', [40, 40, 220]),
    ('D', [220, 220, 40]),
];

fn stored() -> Vec<u8> {
    let mut rgb = Vec::new();
    for y in 0..16 {
        for x in 0..32 {
            rgb.extend(QUARTERS[y / 8 * 2 + x / 16].1);
        }
    }
    rgb
}

/// What the upright quarters are, row by row, for each orientation: CIPA DC-008, tag Orientation ("the 0th row is at the
/// visual top, the 0th column at the visual right" and so on), worked out by hand.
const UPRIGHT: [&str; 8] = [
    "ABCD", "BADC", "DCBA", "CDAB", "ACBD", "CADB", "DBCA", "BDAC",
];

fn check_upright(name: &str, file: &[u8], orientation: usize) {
    let picture = decode(file, &Limits::default()).expect("a photo").picture;
    let (w, h) = (picture.width(), picture.height());
    let expected_size = if orientation > 4 { (16, 32) } else { (32, 16) };
    assert_eq!((w, h), expected_size, "{name}, orientation {orientation}");
    let centres = [
        (w / 4, h / 4),
        (3 * w / 4, h / 4),
        (w / 4, 3 * h / 4),
        (3 * w / 4, 3 * h / 4),
    ];
    let found: String = centres
        .iter()
        .map(|&(x, y)| {
            let rgb = picture.encoded(x, y).map(|v| v * 255.0);
            let near = |colour: [u8; 3]| {
                rgb.iter()
                    .zip(colour)
                    .all(|(a, b)| (a - f64::from(b)).abs() < 20.0)
            };
            QUARTERS
                .iter()
                .find(|(_, colour)| near(*colour))
                .map_or('?', |(name, _)| *name)
        })
        .collect();
    assert_eq!(
        found,
        UPRIGHT[orientation - 1],
        "{name}, orientation {orientation}"
    );
}

#[test]
fn every_orientation_comes_upright() {
    for orientation in 1..=8u16 {
        let extras = Extras {
            exif: Some(exif(&[(Tag::Orientation, Value::Short(vec![orientation]))])),
            icc: None,
        };
        let at = usize::from(orientation);
        check_upright("JPEG", &jpeg(32, 16, &stored(), extras.clone()), at);
        check_upright("PNG", &png(32, 16, &stored(), Rgb8, extras.clone()), at);
        check_upright("WebP", &webp(32, 16, &stored(), extras), at);
        check_upright("TIFF", &tiff(32, 16, &stored(), &[(274, orientation)]), at);
    }
}

#[test]
fn facts_are_read() {
    let facts = facts_of(&[
        (Tag::Make, ascii("Invented Works ")),
        (Tag::Model, ascii("Pocket\u{1b}[31m 3")),
        (Tag::Software, ascii("Retouch 2.0")),
        (Tag::DateTime, ascii("2026:11:21 18:00:00")),
        (Tag::DateTimeOriginal, ascii("2026:11:20 09:14:05")),
        (Tag::OffsetTimeOriginal, ascii("-08:00")),
        (Tag::ExposureTime, ratio(1, 120)),
        (Tag::FNumber, ratio(18, 10)),
        (Tag::PhotographicSensitivity, Value::Short(vec![64])),
        (
            Tag::ExposureBiasValue,
            Value::SRational(vec![SRational { num: -1, denom: 3 }]),
        ),
        (Tag::WhiteBalance, Value::Short(vec![0])),
        (Tag::Flash, Value::Short(vec![0x19])),
        (Tag::LensModel, ascii("wide 5.1 mm")),
        (Tag::FocalLength, ratio(51, 10)),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
        (Tag::DigitalZoomRatio, ratio(0, 1)),
        (Tag::PixelXDimension, Value::Long(vec![4032])),
        (Tag::PixelYDimension, Value::Long(vec![3024])),
        (
            Tag::UserComment,
            Value::Undefined(b"ASCII\0\0\0Screenshot".to_vec(), 0),
        ),
    ]);
    let expected = CaptureFacts {
        taken_at: Some(jiff::civil::date(2026, 11, 20).at(9, 14, 5, 0)),
        offset: Some("-08:00".into()),
        modified_at: Some(jiff::civil::date(2026, 11, 21).at(18, 0, 0, 0)),
        exposure_s: Some(1.0 / 120.0),
        f_number: Some(1.8),
        iso: Some(64),
        exposure_bias_ev: Some(-1.0 / 3.0),
        white_balance_auto: Some(true),
        flash_fired: Some(true),
        software: Some("Retouch 2.0".into()),
        make: Some("Invented Works".into()),
        model: Some("Pocket[31m 3".into()),
        lens: Some("wide 5.1 mm".into()),
        focal_mm: Some(5.1),
        focal_35mm_mm: Some(26.0),
        digital_zoom: Some(1.0),
        written_size: Some((4032, 3024)),
        screenshot: Some(true),
        processed: None,
    };
    assert_eq!(facts, expected);
    assert_eq!(
        facts.taken_at_text().as_deref(),
        Some("2026-11-20T09:14:05-08:00")
    );
}

#[test]
fn what_is_not_said_is_unknown() {
    let none = decode(
        &jpeg(16, 16, &[90; 768], Extras::default()),
        &Limits::default(),
    )
    .expect("a photo");
    assert_eq!(none.facts, CaptureFacts::default());
    assert_eq!(none.notes, []);
    // A time with another field's offset, a blank date, a ratio without a denominator, the flash not fired.
    let facts = facts_of(&[
        (Tag::DateTimeOriginal, ascii("2026:11:20 09:14:05")),
        (Tag::OffsetTime, ascii("+01:00")),
        (Tag::ExposureTime, ratio(1, 0)),
        (Tag::Flash, Value::Short(vec![0x10])),
    ]);
    assert_eq!(facts.offset, None);
    assert_eq!(
        facts.taken_at_text().as_deref(),
        Some("2026-11-20T09:14:05")
    );
    assert_eq!(facts.exposure_s, None);
    assert_eq!(facts.flash_fired, Some(false));
    for blank in [
        "    :  :     :  :  ",
        "0000:00:00 00:00:00",
        "2026:13:40 25:00:00",
        "yesterday",
    ] {
        assert_eq!(
            facts_of(&[(Tag::DateTimeOriginal, ascii(blank))]).taken_at,
            None,
            "{blank}"
        );
    }
    for odd in ["Z", "+25:00", "++1:00", "+01:0", "01:00"] {
        let fields = [
            (Tag::DateTimeOriginal, ascii("2026:11:20 09:14:05")),
            (Tag::OffsetTimeOriginal, ascii(odd)),
        ];
        assert_eq!(facts_of(&fields).offset, None, "{odd}");
    }
}

#[test]
fn broken_exif_leaves_a_note_and_the_picture() {
    let whole = exif(&[
        (Tag::Make, ascii("Invented Works of Alder Creek")),
        (Tag::DateTimeOriginal, ascii("2026:11:20 09:14:05")),
        (Tag::ExposureTime, ratio(1, 120)),
    ]);
    let mut noted = 0;
    for cut in 0..whole.len() {
        let extras = Extras {
            exif: Some(whole[..cut].to_vec()),
            icc: None,
        };
        let photo = decode(&jpeg(16, 16, &[90; 768], extras), &Limits::default()).expect("a photo");
        noted += usize::from(photo.notes.iter().any(|f| f.code == "exif-damaged"));
    }
    // An empty block may count as none at all.
    assert!(
        noted + 1 >= whole.len(),
        "{noted} of {} damaged blocks were noticed",
        whole.len()
    );
}

#[test]
fn adobe_rgb_announced_by_exif_is_honoured() {
    let extras = Extras {
        exif: Some(exif(&[(Tag::InteroperabilityIndex, ascii("R03"))])),
        icc: None,
    };
    let file = png(1, 1, &[0, 255, 0], Rgb8, extras);
    let green = decode(&file, &Limits::default())
        .expect("a photo")
        .picture
        .linear(0, 0)
        .0;
    // Its green primary holds far less of BT.2020's red than the green of sRGB (0.33).
    assert!(green[0] < 0.15, "{green:?}");
}
