//! Colour spaces: one set of colours, written in several spaces, is the same light.

use image::ExtendedColorType::{L8, Rgb8, Rgb16, Rgba8};
use moxcms::{ColorProfile, LutDataType, LutStore, LutType, LutWarehouse, ToneReprCurve};
use tintwell::flag::Severity;
use tintwell::photo::{Limits, Picture, decode};

use crate::files::{Extras, jpeg, png, png_chunk, tiff, webp};
use crate::srgb;

type Matrix = [[f64; 3]; 3];

// XYZ (D65, Y = 1) to linear RGB, seven decimals, as listed in the sample code of CSS Color Module Level 4 (Display P3,
// BT.2020) and by B. Lindbloom (sRGB, Adobe RGB 1998); written down from memory, and each row is checked below to turn
// the white D65 into 1.
const SRGB: Matrix = [
    [3.2404542, -1.5371385, -0.4985314],
    [-0.9692660, 1.8760108, 0.0415560],
    [0.0556434, -0.2040259, 1.0572252],
];
const DISPLAY_P3: Matrix = [
    [2.4934969, -0.9313836, -0.4027108],
    [-0.8294890, 1.7626641, 0.0236247],
    [0.0358458, -0.0761724, 0.9568845],
];
const ADOBE_RGB: Matrix = [
    [2.0413690, -0.5649464, -0.3446944],
    [-0.9692660, 1.8760108, 0.0415560],
    [0.0134474, -0.1183897, 1.0154096],
];
const BT2020: Matrix = [
    [1.7166512, -0.3556708, -0.2533663],
    [-0.6666844, 1.6164812, 0.0157685],
    [0.0176399, -0.0427706, 0.9421031],
];

fn times(m: &Matrix, v: [f64; 3]) -> [f64; 3] {
    m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
}

fn adobe_curve(v: f64) -> f64 {
    v.powf(256.0 / 563.0)
}

/// Greys and the colours of liquids, as XYZ inside all three gamuts.
fn colours() -> Vec<[f64; 3]> {
    let mut all = Vec::new();
    for i in 1..=9 {
        let y = f64::from(i) / 10.0;
        all.push([0.9505 * y, y, 1.0888 * y]);
    }
    // Dull yellow, orange, pink, violet, blue, green.
    all.extend([
        [0.55, 0.60, 0.25],
        [0.45, 0.38, 0.15],
        [0.50, 0.40, 0.50],
        [0.20, 0.15, 0.35],
        [0.25, 0.28, 0.60],
        [0.25, 0.38, 0.25],
    ]);
    all
}

fn encode(space: &Matrix, curve: fn(f64) -> f64) -> Vec<f64> {
    let rgb = colours()
        .into_iter()
        .flat_map(|c| times(space, c).map(curve))
        .collect::<Vec<f64>>();
    assert!(
        rgb.iter().all(|v| (0.0..=1.0).contains(v)),
        "a colour lies outside the space"
    );
    rgb
}

fn spaces() -> [(&'static str, Vec<f64>, Option<ColorProfile>); 4] {
    [
        ("untagged sRGB", encode(&SRGB, srgb::encode), None),
        (
            "sRGB",
            encode(&SRGB, srgb::encode),
            Some(ColorProfile::new_srgb()),
        ),
        (
            "Display P3",
            encode(&DISPLAY_P3, srgb::encode),
            Some(ColorProfile::new_display_p3()),
        ),
        (
            "Adobe RGB",
            encode(&ADOBE_RGB, adobe_curve),
            Some(ColorProfile::new_adobe_rgb()),
        ),
    ]
}

fn extras(profile: Option<ColorProfile>) -> Extras {
    Extras {
        icc: profile.map(|p| p.encode().expect("a profile")),
        exif: None,
    }
}

fn compare(name: &str, picture: &Picture, tolerance: f64) {
    for (x, colour) in (0..).zip(colours()) {
        let expected = times(&BT2020, colour);
        let found = picture.linear(x, 0).0;
        for (e, f) in expected.iter().zip(found) {
            assert!(
                (e - f).abs() <= tolerance,
                "{name}: colour {x}, expected {expected:.5?}, found {found:.5?}"
            );
        }
    }
}

#[test]
fn published_matrices_have_white_d65() {
    for (name, m) in [
        ("P3", DISPLAY_P3),
        ("2020", BT2020),
        ("sRGB", SRGB),
        ("Adobe", ADOBE_RGB),
    ] {
        for v in times(&m, [0.9504559, 1.0, 1.0890578]) {
            assert!((v - 1.0).abs() < 3e-4, "{name}: white gives {v}");
        }
    }
}

/// Tolerance: half an 8-bit code at the steepest point of the curves (slope 2.3 at white), in each of three channels
/// whose weights in the matrix add up to less than 1.2: 0.5 / 255 * 2.3 * 1.2.
#[test]
fn eight_bit_spaces_agree() {
    for (name, encoded, profile) in spaces() {
        let samples: Vec<u8> = encoded.iter().map(|v| (v * 255.0).round() as u8).collect();
        let width = colours().len() as u32;
        let file = png(width, 1, &samples, Rgb8, extras(profile.clone()));
        let photo = decode(&file, &Limits::default()).expect("a photo");
        assert_eq!(photo.notes, [], "{name}");
        compare(name, &photo.picture, 0.0055);
        let file = webp(width, 1, &samples, extras(profile));
        compare(
            name,
            &decode(&file, &Limits::default()).expect("a photo").picture,
            0.0055,
        );
    }
}

/// Tolerance: the white of the two published families of matrices differs in the fourth decimal.
#[test]
fn sixteen_bit_spaces_agree() {
    for (name, encoded, profile) in spaces() {
        let samples: Vec<u8> = encoded
            .iter()
            .flat_map(|v| ((v * 65535.0).round() as u16).to_ne_bytes())
            .collect();
        let file = png(colours().len() as u32, 1, &samples, Rgb16, extras(profile));
        compare(
            name,
            &decode(&file, &Limits::default()).expect("a photo").picture,
            3e-4,
        );
    }
}

/// Light of BT.2020 from 8-bit codes of Display P3.
#[cfg(feature = "heic")]
pub fn light_of_p3(codes: [u8; 3]) -> [f64; 3] {
    let rows = |m: &Matrix| nalgebra::Matrix3::from_row_slice(m.as_flattened());
    let light = codes.map(|c| srgb::decode(f64::from(c) / 255.0));
    let xyz = rows(&DISPLAY_P3)
        .try_inverse()
        .expect("a matrix of primaries");
    (rows(&BT2020) * xyz * nalgebra::Vector3::from(light)).into()
}

/// ITU-R BT.709-6, item 1.2.
fn video_curve(v: f64) -> f64 {
    if v < 0.018 {
        4.5 * v
    } else {
        1.099 * v.powf(0.45) - 0.099
    }
}

/// What a PNG says of its samples and is not done here is no sRGB: a narrow range, a gamma of its own.
#[test]
fn a_png_that_is_coded_otherwise_is_doubted() {
    let samples: Vec<u8> = colours().iter().flat_map(|_| [120, 130, 140]).collect();
    let plain = png(colours().len() as u32, 1, &samples, Rgb8, extras(None));
    let (head, rest) = plain.split_at(8 + 25);
    let with = |chunks: &[Vec<u8>]| {
        let file = [head, &chunks.concat(), rest].concat();
        let photo = decode(&file, &Limits::default()).expect("a photo");
        photo
            .notes
            .iter()
            .map(|n| n.code.clone())
            .collect::<Vec<_>>()
    };
    let gamma = |told: u32| png_chunk(b"gAMA", &told.to_be_bytes());
    assert_eq!(with(&[]), [""; 0]);
    assert_eq!(with(&[gamma(45_455)]), [""; 0]);
    assert_eq!(with(&[gamma(100_000), png_chunk(b"sRGB", &[0])]), [""; 0]);
    assert_eq!(with(&[gamma(100_000)]), ["profile-unusable"]);
    assert_eq!(
        with(&[png_chunk(b"cICP", &[1, 13, 0, 0])]),
        ["profile-unusable"]
    );
}

/// A PNG whose colours are told by code points of ITU-T H.273 in a cICP chunk (PNG third edition, 11.3.2.6).
fn coded_png(samples: &[u8], code: [u8; 4]) -> Vec<u8> {
    coded_png_with(samples, code, None)
}

/// The same with a profile beside the code points.
fn coded_png_with(samples: &[u8], code: [u8; 4], profile: Option<ColorProfile>) -> Vec<u8> {
    let plain = png(colours().len() as u32, 1, samples, Rgb8, extras(profile));
    // After the signature and the header chunk.
    let (head, rest) = plain.split_at(8 + 25);
    [head, &png_chunk(b"cICP", &code), rest].concat()
}

/// Tolerance as in `eight_bit_spaces_agree`, with the slope of the video curve at white, 2.0, and at black, 4.5 to 1.
#[test]
fn code_points_agree() {
    type Case = (&'static str, Vec<f64>, [u8; 2]);
    let cases: [Case; 4] = [
        ("sRGB", encode(&SRGB, srgb::encode), [1, 13]),
        ("Display P3", encode(&DISPLAY_P3, srgb::encode), [12, 13]),
        ("BT.2020", encode(&BT2020, video_curve), [9, 14]),
        ("BT.709", encode(&SRGB, video_curve), [1, 1]),
    ];
    for (name, encoded, [primaries, transfer]) in cases {
        let samples: Vec<u8> = encoded.iter().map(|v| (v * 255.0).round() as u8).collect();
        let file = coded_png(&samples, [primaries, transfer, 0, 1]);
        let photo = decode(&file, &Limits::default()).expect("a photo");
        assert_eq!(photo.notes, [], "{name}");
        compare(name, &photo.picture, 0.0055);
    }
}

/// Code points come before a profile (PNG third edition, 4.3); such as cannot be used leave it to the profile.
#[test]
fn code_points_come_before_a_profile() {
    let samples = |encoded: Vec<f64>| -> Vec<u8> {
        encoded.iter().map(|v| (v * 255.0).round() as u8).collect()
    };
    let p3 = samples(encode(&DISPLAY_P3, srgb::encode));
    let file = coded_png_with(&p3, [12, 13, 0, 1], Some(ColorProfile::new_srgb()));
    let photo = decode(&file, &Limits::default()).expect("a photo");
    compare("Display P3 by its code points", &photo.picture, 0.0055);
    let hdr = coded_png_with(&p3, [9, 16, 0, 1], Some(ColorProfile::new_display_p3()));
    let photo = decode(&hdr, &Limits::default()).expect("a photo");
    assert_eq!(photo.notes, []);
    compare("Display P3 by its profile", &photo.picture, 0.0055);
}

/// Curves for HDR screens say nothing of paper white: there is a doubt.
#[test]
fn code_points_for_hdr_screens_are_a_doubt() {
    let samples = vec![99; 3 * colours().len()];
    for transfer in [16, 18, 99] {
        let file = coded_png(&samples, [9, transfer, 0, 1]);
        let photo = decode(&file, &Limits::default()).expect("a photo");
        let flags: Vec<_> = photo
            .notes
            .iter()
            .map(|n| (n.code.as_str(), n.severity))
            .collect();
        assert_eq!(flags, [("profile-unusable", Severity::Doubt)]);
    }
}

#[test]
fn reading_p3_as_srgb_would_be_seen() {
    let samples: Vec<u8> = encode(&DISPLAY_P3, srgb::encode)
        .iter()
        .map(|v| (v * 255.0).round() as u8)
        .collect();
    let picture = Picture::from_rgb8(colours().len() as u32, 1, samples);
    let off = (0..).zip(colours()).any(|(x, c)| {
        let expected = times(&BT2020, c);
        picture
            .linear(x, 0)
            .0
            .iter()
            .zip(expected)
            .any(|(f, e)| (f - e).abs() > 0.02)
    });
    assert!(
        off,
        "the colours are too pale for this test to tell the spaces apart"
    );
}

#[test]
fn jpeg_carries_its_profile() {
    // Flat colour: JPEG at quality 95 keeps it to about a code.
    let [r, g, b] =
        times(&DISPLAY_P3, [0.45, 0.38, 0.15]).map(|v| (srgb::encode(v) * 255.0).round() as u8);
    let file = jpeg(
        32,
        32,
        &[r, g, b].repeat(32 * 32),
        extras(Some(ColorProfile::new_display_p3())),
    );
    let picture = decode(&file, &Limits::default()).expect("a photo").picture;
    let expected = times(&BT2020, [0.45, 0.38, 0.15]);
    for (e, f) in expected.iter().zip(picture.linear(9, 9).0) {
        assert!(
            (e - f).abs() < 0.015,
            "expected {expected:?}, found {:?}",
            picture.linear(9, 9)
        );
    }
}

#[test]
fn saturated_p3_is_not_negative_and_native_light_maps_to_linear() {
    let rgb = vec![255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 255];
    let file = png(
        4,
        1,
        &rgb,
        Rgb8,
        extras(Some(ColorProfile::new_display_p3())),
    );
    let picture = decode(&file, &Limits::default()).expect("a photo").picture;
    // Display P3's red lies a little outside BT.2020: its blue share is -0.0012, the published matrix entry (CSS Color
    // Module Level 4, from memory), and is clamped. Nothing else is.
    for (x, lowest) in [(0, -0.0013), (1, 0.01), (2, 0.01)] {
        let linear = picture.linear(x, 0).0;
        let mapped = times(&picture.to_working(), picture.native_linear(x, 0));
        for (l, m) in linear.iter().zip(mapped) {
            assert!(m > lowest, "primary {x}: {mapped:?}");
            assert!(
                (l - m.max(0.0)).abs() < 1e-12,
                "primary {x}: {linear:?}, {mapped:?}"
            );
        }
    }
    assert!(
        picture
            .linear(3, 0)
            .0
            .iter()
            .all(|v| (v - 1.0).abs() < 1e-3),
        "white is white"
    );
}

#[test]
fn a_table_profile_gives_the_same_light() {
    // sRGB's own curve as input table, then its colorants as a 2 x 2 x 2 grid into PCS XYZ (1 + 32767/32768 is 65535).
    let curve = |i: usize| (srgb::decode(i as f64 / 1023.0) * 65535.0).round() as u16;
    let mut profile = ColorProfile::new_srgb();
    let [r, g, b] = [
        profile.red_colorant,
        profile.green_colorant,
        profile.blue_colorant,
    ];
    let mut grid = Vec::new();
    for node in 0..8u8 {
        let on = |bit: u8| f64::from(node >> bit & 1);
        for part in [
            |c: moxcms::Xyzd| c.x,
            |c: moxcms::Xyzd| c.y,
            |c: moxcms::Xyzd| c.z,
        ] {
            let sum = on(2) * part(r) + on(1) * part(g) + on(0) * part(b);
            grid.push((sum * 32768.0).round() as u16);
        }
    }
    let unit = moxcms::Matrix3d {
        v: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    };
    let lut = LutWarehouse::Lut(LutDataType {
        num_input_channels: 3,
        num_output_channels: 3,
        num_clut_grid_points: 2,
        matrix: unit,
        num_input_table_entries: 1024,
        num_output_table_entries: 2,
        input_table: LutStore::Store16((0..3).flat_map(|_| (0..1024).map(curve)).collect()),
        clut_table: LutStore::Store16(grid),
        output_table: LutStore::Store16([0, 65535].repeat(3)),
        lut_type: LutType::Lut16,
    });
    profile.lut_a_to_b_colorimetric = Some(lut.clone());
    profile.lut_a_to_b_perceptual = Some(lut);
    (
        profile.red_trc,
        profile.green_trc,
        profile.blue_trc,
        profile.cicp,
    ) = (None, None, None, None);
    let samples: Vec<u8> = encode(&SRGB, srgb::encode)
        .iter()
        .flat_map(|v| ((v * 65535.0).round() as u16).to_ne_bytes())
        .collect();
    let file = png(
        colours().len() as u32,
        1,
        &samples,
        Rgb16,
        extras(Some(profile)),
    );
    let photo = decode(&file, &Limits::default()).expect("a photo");
    assert_eq!(photo.notes, []);
    // The profile's own rounding, as for the 16-bit spaces.
    compare("tables", &photo.picture, 3e-4);
}

#[test]
fn grey_profile_and_grey_without() {
    let grey = ColorProfile::new_gray_with_gamma(2.2);
    let file = png(2, 1, &[128, 255], L8, extras(Some(grey)));
    let picture = decode(&file, &Limits::default()).expect("a photo").picture;
    let expected = (128.0f64 / 255.0).powf(2.2);
    for v in picture.linear(0, 0).0 {
        assert!((v - expected).abs() < 1e-3, "{v} against {expected}");
    }
    let plain = decode(
        &png(1, 1, &[128], L8, Extras::default()),
        &Limits::default(),
    )
    .expect("a photo")
    .picture;
    // sRGB code 128 is 0.2158605 in linear light (IEC 61966-2-1 by its formula).
    for v in plain.linear(0, 0).0 {
        assert!((v - 0.215_860_5).abs() < 1e-6, "{v}");
    }
}

#[test]
fn an_unusable_profile_is_flagged_and_read_as_srgb() {
    let mut falling = ColorProfile::new_srgb();
    falling.green_trc = Some(ToneReprCurve::Lut(vec![65535, 30000, 0]));
    falling.cicp = None;
    let garbage = Extras {
        icc: Some(b"not a profile".to_vec()),
        exif: None,
    };
    for extras in [
        garbage,
        extras(Some(falling)),
        extras(Some(ColorProfile::new_gray_with_gamma(1.0))),
    ] {
        let photo = decode(
            &png(1, 1, &[128, 128, 128], Rgb8, extras),
            &Limits::default(),
        )
        .expect("a photo");
        assert_eq!(photo.notes.len(), 1, "{:?}", photo.notes);
        assert_eq!(photo.notes[0].code, "profile-unusable");
        assert_eq!(photo.notes[0].severity, Severity::Doubt);
        assert!((photo.picture.linear(0, 0).0[1] - 0.215_860_5).abs() < 1e-6);
    }
}

/// A profile whose parts do not make a whole, or cannot be unpacked, is not none: its photo is no sRGB.
#[test]
fn a_profile_that_is_lost_is_a_doubt() {
    let codes = |file: &[u8]| -> Vec<String> {
        let photo = decode(file, &Limits::default()).expect("a photo");
        photo.notes.into_iter().map(|n| n.code).collect()
    };
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new(&mut jpeg)
        .encode(&[128; 3 * 64], 8, 8, Rgb8)
        .expect("a file");
    assert!(codes(&jpeg).is_empty());
    // The first of two parts, right after the start of the image.
    let part = [b"ICC_PROFILE\0\x01\x02".as_slice(), &[0; 100]].concat();
    let length = (part.len() as u16 + 2).to_be_bytes();
    let halved = [&jpeg[..2], &[0xFF, 0xE2], &length, &part, &jpeg[2..]].concat();
    assert_eq!(codes(&halved), ["profile-unusable"]);

    let plain = png(1, 1, &[128, 128, 128], Rgb8, extras(None));
    let (head, rest) = plain.split_at(8 + 25);
    let chunk = png_chunk(b"iCCP", b"name\0\0not deflated");
    let garbled = [head, &chunk, rest].concat();
    assert_eq!(codes(&garbled), ["profile-unusable"]);
}

#[test]
fn transparent_parts_are_black_and_said() {
    let rgba = [200, 100, 50, 255, 255, 255, 255, 0];
    let photo = decode(
        &png(2, 1, &rgba, Rgba8, Extras::default()),
        &Limits::default(),
    )
    .expect("a photo");
    assert_eq!(
        photo.picture.encoded(0, 0).map(|v| (v * 255.0).round()),
        [200.0, 100.0, 50.0]
    );
    assert!(photo.picture.crushed(1, 0));
    assert!(!photo.picture.clipped(1, 0));
    assert_eq!(photo.notes[0].code, "transparency");
    let opaque = [200, 100, 50, 255].repeat(2);
    let photo = decode(
        &png(2, 1, &opaque, Rgba8, Extras::default()),
        &Limits::default(),
    )
    .expect("a photo");
    assert_eq!(photo.notes, []);
}

#[test]
fn ends_of_the_range() {
    let picture = Picture::from_rgb8(4, 1, vec![253, 2, 9, 254, 9, 9, 9, 1, 9, 255, 0, 9]);
    let found: Vec<_> = (0..4)
        .map(|x| (picture.clipped(x, 0), picture.crushed(x, 0)))
        .collect();
    assert_eq!(
        found,
        [(false, false), (true, false), (false, true), (true, true)]
    );
}

#[test]
fn luma_is_reduced_by_averaging_whole_squares() {
    let grey: Vec<u8> = [10, 20, 90, 30, 40, 90, 7, 7, 7]
        .iter()
        .flat_map(|v| [*v; 3])
        .collect();
    let picture = Picture::from_rgb8(3, 3, grey);
    assert_eq!(picture.luma().into_raw(), [10, 20, 90, 30, 40, 90, 7, 7, 7]);
    let half = picture.luma_reduced(2);
    assert_eq!(
        (half.width(), half.height(), half.into_raw()),
        (1, 1, vec![25])
    );
    assert_eq!(picture.luma_reduced(8).dimensions(), (1, 1));
}

#[test]
fn showing_a_p3_picture_converts_it_to_srgb() {
    let p3: Vec<u8> = encode(&DISPLAY_P3, srgb::encode)
        .iter()
        .map(|v| (v * 255.0).round() as u8)
        .collect();
    let file = png(
        colours().len() as u32,
        1,
        &p3,
        Rgb8,
        extras(Some(ColorProfile::new_display_p3())),
    );
    let shown = decode(&file, &Limits::default())
        .expect("a photo")
        .picture
        .srgb8();
    // A code of rounding in P3 is up to two in sRGB.
    for (s, e) in shown.into_raw().iter().zip(encode(&SRGB, srgb::encode)) {
        assert!(
            (f64::from(*s) - e * 255.0).abs() <= 2.0,
            "{s} against {}",
            e * 255.0
        );
    }
}

#[test]
fn all_formats_give_the_same_samples() {
    let rgb: Vec<u8> = (0..5 * 3 * 3).map(|i| i * 5).collect();
    for file in [
        png(5, 3, &rgb, Rgb8, Extras::default()),
        webp(5, 3, &rgb, Extras::default()),
        tiff(5, 3, &rgb, &[]),
    ] {
        let photo = decode(&file, &Limits::default()).expect("a photo");
        assert_eq!(photo.notes, []);
        assert_eq!((photo.picture.width(), photo.picture.height()), (5, 3));
        assert_eq!(photo.picture.srgb8().into_raw(), rgb);
    }
}
